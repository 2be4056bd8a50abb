"""Forms of a test day. Each saves by itself, so that a step can be taken up on another device."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils import timezone

from calc import units
from calc.direct_form import DIRECT_METHODS, OTHER_LIQUID
from itm.accounts.actor import Actor
from itm.core.clock import FIRST_MOMENT
from itm.core.fields import DayField
from itm.core.history import Tracked
from itm.core.measures import TEMPERATURE
from itm.core.quantities import QuantityField
from itm.records import queries
from itm.records.merge import Crossed, shown
from itm.records.models import DirectSetup, FlowRun, ProportioningTest, Visit
from itm.records.outlet_fields import OutletsField
from itm.records.preparing import Direct, NewBench
from itm.records.remarks import can_settle, outside_listing
from itm.records.rule import FrozenRule
from itm.registry.forms import Refusing
from itm.registry.models import Proportioner, Site

BENCH = ProportioningTest.Method.BENCH
NO_INSTRUMENT = "Choose what a new bench is read with."


class InstantField(forms.DateTimeField):
    """A moment on the site's own clock; never later than now."""

    def __init__(self, *, zone: str, now: datetime, seconds: bool = False, **kwargs: Any) -> None:
        self.zone, self.now = ZoneInfo(zone), now
        self.shape = "%Y-%m-%dT%H:%M:%S" if seconds else "%Y-%m-%dT%H:%M"
        attrs = {"type": "datetime-local", "step": "1" if seconds else "60"}
        kwargs.setdefault("help_text", f"On the clock of the site ({zone}).")
        super().__init__(widget=forms.DateTimeInput(attrs=attrs, format=self.shape), **kwargs)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, datetime):
            return value.astimezone(self.zone).strftime(self.shape)
        return value

    def clean(self, value: Any) -> datetime | None:
        with timezone.override(self.zone):
            at = super().clean(value)
        if at is not None and at < FIRST_MOMENT:
            raise forms.ValidationError(
                f"{FIRST_MOMENT:%Y} is the earliest year of a moment here; write the one that is "
                "meant.",
                code="out_of_calendar",
            )
        if at is not None and at > self.now:
            there = self.now.astimezone(self.zone)
            raise forms.ValidationError(
                f"That is still to come: at the site it is {there:%H:%M} on {there:%Y-%m-%d}.",
                code="to_come",
            )
        return at


class MergingForm(Refusing, forms.Form):
    """Carries for each field the text it was opened with, so that only the same field changed by
    two people is a conflict."""

    def __init__(self, *args: Any, row: Tracked, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.row = row
        self.stands = {name: shown(row, name) for name in self.fields}
        self.initial = {**self.stands, **self.initial}

    @property
    def opened(self) -> dict[str, str]:
        """What the page showed; a field that the page did not show is not judged."""
        if not self.is_bound:
            return self.stands
        keys = {name: self.add_prefix(f"opened-{name}") for name in self.fields}
        return {name: self.data[key] for name, key in keys.items() if key in self.data}

    def carried(self) -> list[tuple[str, str]]:
        """Hidden entries for the page. After a conflict they hold what stands now, so that saving
        once more is a person's own decision."""
        crossed = getattr(self, "crossed", {})
        opened = {**self.stands, **self.opened}
        return [
            (
                self.add_prefix(f"opened-{name}"),
                self.stands[name] if name in crossed else opened[name],
            )
            for name in self.fields
        ]

    @contextmanager
    def refusals(self) -> Iterator[None]:
        with super().refusals():
            try:
                yield
            except Crossed as crossed:
                self._cross(crossed)

    def _cross(self, crossed: Crossed) -> None:
        self.row.refresh_from_db()
        self.stands = {name: shown(self.row, name) for name in self.fields}
        self.crossed = crossed.places
        for name, sentence in crossed.places.items():
            self.add_error(name if name in self.fields else None, sentence)


class SiteChoice(forms.ModelChoiceField):
    def label_from_instance(self, site: Any) -> str:
        return f"{site.name}, {site.owner.name}"


class VisitForm(Refusing, forms.Form):
    """A new test day, prepared at home."""

    site = SiteChoice(queryset=Site.objects.none(), to_field_name="key", empty_label=None)
    planned_on = DayField(label="Planned for")
    crew = forms.CharField(max_length=200, required=False, help_text="Names of the crew")
    effluent_plan = forms.CharField(
        max_length=1000, required=False, widget=forms.Textarea(attrs={"rows": 3}),
        help_text="How much at which percent, where it goes, who hauls it, on whose papers.",
    )  # fmt: skip

    def __init__(self, *args: Any, actor: Actor, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["site"]
        field.queryset = queries.sites_to_visit(actor).select_related("owner")


class VisitEditForm(MergingForm):
    planned_on = VisitForm.base_fields["planned_on"]
    crew = VisitForm.base_fields["crew"]
    effluent_plan = VisitForm.base_fields["effluent_plan"]
    ambient_c = QuantityField(label="Air temperature", units=TEMPERATURE, required=False)
    weather = forms.CharField(
        max_length=200, required=False, help_text="Wind carries foam; rain dilutes open samples."
    )
    coordinator = forms.CharField(
        label="Impairment coordinator", max_length=120, required=False,
        help_text="The owner, unless somebody else is named.",
    )  # fmt: skip


class NoticeForm(Refusing, forms.Form):
    told = forms.CharField(
        label="Who was told", max_length=120,
        help_text="Owner, fire service, monitoring company, authority, insurer, neighbours …",
    )  # fmt: skip
    how = forms.CharField(max_length=60, required=False, help_text="By telephone, in writing …")
    reference = forms.CharField(
        max_length=60, required=False, help_text="Number of the call or of the letter"
    )

    def __init__(self, *args: Any, visit: Visit, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["told_at"] = InstantField(
            label="When", zone=visit.site.time_zone, now=now, initial=now
        )


class StartForm(Refusing, forms.Form):
    reason = forms.CharField(
        label="Why the system goes out of service", max_length=200,
        initial="Proportioning test",
    )  # fmt: skip
    coordinator = VisitEditForm.base_fields["coordinator"]

    def __init__(self, *args: Any, visit: Visit, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["coordinator"].required = True
        self.fields["coordinator"].initial = visit.coordinator or visit.site.owner.name
        self.fields["started_at"] = InstantField(
            label="First valve moved at", zone=visit.site.time_zone, now=now, required=False,
            help_text="Leave empty for now.",
        )  # fmt: skip


class InstrumentChoice(forms.ModelChoiceField):
    """Says beside each instrument what it can settle on this proportioner."""

    rule: FrozenRule
    previous: list[queries.Previous]

    def label_from_instance(self, instrument: Any) -> str:
        return f"{instrument}: {can_settle(instrument, self.rule, self.previous)}"


class PointsChoice(forms.ModelMultipleChoiceField):
    def label_from_instance(self, point: Any) -> str:
        outside = outside_listing(point.proportioner, point.flow)
        return f"{point.name}, {point.flow_typed}" + (f". {outside}" if outside else "")


class TestForm(Refusing, forms.Form):
    """What a test is prepared with; criteria and decision rule come with the proportioner."""

    NEW = "new"
    OF_BENCH = (
        "bench", "instrument", "lot", "water_source", "glassware", "batch_volume_ml",
        "correct_temperatures",
    )  # fmt: skip
    OF_LIQUID = ("liquid", "liquid_name")
    method = forms.ChoiceField(
        choices=ProportioningTest.Method.choices, widget=forms.HiddenInput, required=False
    )
    purpose = forms.ChoiceField(
        choices=ProportioningTest.Purpose.choices, initial="periodic",
        help_text="Only a passed acceptance test sets the baseline.",
    )  # fmt: skip
    phase = forms.ChoiceField(
        choices=ProportioningTest.Phase.choices, widget=forms.RadioSelect, initial="as_found",
        help_text="As found comes before anything is adjusted; as left after it. Both are kept.",
    )  # fmt: skip
    adjusted = forms.CharField(
        label="Parts adjusted or renewed", max_length=300, required=False,
        help_text="For as left only.",
    )  # fmt: skip
    flow_points = PointsChoice(
        queryset=queries.FlowPoint.objects.none(), to_field_name="key",
        widget=forms.CheckboxSelectMultiple, label="Flow points to run",
    )  # fmt: skip
    liquid = forms.ChoiceField(
        choices=DirectSetup.Liquid.choices, widget=forms.RadioSelect,
        label="Liquid in place of concentrate",
        help_text="It says whether the device changed since concentrate was run at this flow, and "
        "nothing about the concentrate.",
    )  # fmt: skip
    liquid_name = forms.CharField(
        label="Name of the surrogate", max_length=120, required=False,
        help_text="Another surrogate flows otherwise and needs its own baseline.",
    )  # fmt: skip
    bench = forms.ChoiceField(widget=forms.RadioSelect)
    instrument = InstrumentChoice(
        queryset=queries.Instrument.objects.none(), to_field_name="key", required=False,
        widget=forms.RadioSelect, empty_label=None, help_text="It decides the method.",
    )  # fmt: skip
    lot = forms.ModelChoiceField(
        queryset=queries.ConcentrateLot.objects.none(), to_field_name="key", required=False,
        label="Lot of the standards", empty_label="Not known",
        help_text="Standards are made from what is in the tank. Where they come from a drum in the "
        "store all the same, name its lot: the record then says how the two differ.",
    )  # fmt: skip
    water_source = forms.CharField(
        max_length=120, required=False,
        help_text="The same outlet as the test water, caught before concentrate flows.",
    )  # fmt: skip
    glassware = forms.CharField(
        max_length=120, required=False, help_text="Syringe, cylinder or flask, with its tolerance"
    )
    batch_volume_ml = forms.DecimalField(
        label="Volume of each standard", initial=200, min_value=1, max_value=5000,
        max_digits=5, decimal_places=1, required=False,
    )  # fmt: skip
    correct_temperatures = forms.BooleanField(
        label="Correct every reading to one temperature", required=False,
        help_text="Only where the bottles could not be brought to one temperature: a correction "
        "leaves doubt of its own. Every reading then needs its temperature.",
    )  # fmt: skip
    other_percent_because = forms.CharField(
        label="Why the percents may differ", max_length=300, required=False,
        help_text="Only where the concentrate is labelled with another percent than the "
        "proportioner: that stops here, unless you answer for it with your name and a reason.",
    )  # fmt: skip
    notes = forms.CharField(
        max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(
        self, *args: Any, actor: Actor, visit: Visit, proportioner: Proportioner,
        rule: FrozenRule, previous: list[queries.Previous], method: str = BENCH, **kwargs: Any,
    ) -> None:  # fmt: skip
        super().__init__(*args, **kwargs)
        fields: dict[str, Any] = self.fields
        self.by = fields["method"].initial = method
        fields["flow_points"].queryset = points = queries.flow_points_of(proportioner)
        fields["flow_points"].initial = list(points)
        of_bench = method not in DIRECT_METHODS
        out = () if of_bench else self.OF_BENCH
        for name in out if method == OTHER_LIQUID else (*out, *self.OF_LIQUID):
            del fields[name]
        if of_bench:
            self._offer_benches(fields, actor, visit, proportioner, rule, previous)

    def _offer_benches(
        self, fields: dict[str, Any], actor: Actor, visit: Visit, proportioner: Proportioner,
        rule: FrozenRule, previous: list[queries.Previous],
    ) -> None:  # fmt: skip
        fields["instrument"].rule, fields["instrument"].previous = rule, previous
        fields["instrument"].queryset = queries.instruments(actor)
        fields["lot"].queryset = queries.lots_for(proportioner.tank)
        fields["lot"].initial = queries.newest_lot_in(proportioner.tank)
        self.benches = queries.benches_for(visit, proportioner)
        kept = [(str(b.key), _bench_label(b)) for b in self.benches]
        fields["bench"].choices = [*kept, (self.NEW, "A new bench")]
        fields["bench"].initial = kept[0][0] if kept else self.NEW
        if not kept:
            fields["bench"].widget = forms.HiddenInput()
            fields["instrument"].required = fields["batch_volume_ml"].required = True
            fields["instrument"].error_messages["required"] = NO_INSTRUMENT
        fields["batch_volume_ml"].unit = "mL"

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("bench") == self.NEW and "instrument" not in self.errors:
            if given.get("instrument") is None:
                self.add_error("instrument", NO_INSTRUMENT)
            if given.get("batch_volume_ml") is None and "batch_volume_ml" not in self.errors:
                self.add_error("batch_volume_ml", "Write the volume of each standard in mL.")
        return given

    def prepared(self) -> dict[str, Any]:
        """What `prepare_test` is called with."""
        given = self.cleaned_data
        kept = ["purpose", "phase", "adjusted", "flow_points", "other_percent_because", "notes"]
        if self.by in DIRECT_METHODS:
            liquid = {name: given[name] for name in self.OF_LIQUID if name in given}
            direct = Direct(self.by, **liquid)
            return {"bench": direct, **{name: given[name] for name in kept}}
        if given["bench"] == self.NEW:
            names = ("instrument", "lot", "water_source", "glassware", "batch_volume_ml")
            bench: Any = NewBench(**{name: given[name] for name in names})
        else:
            bench = next(b for b in self.benches if str(b.key) == given["bench"])
        kept.append("correct_temperatures")
        return {"bench": bench, **{name: given[name] for name in kept}}


def _bench_label(bench: Any) -> str:
    lot = f", {bench.lot}" if bench.lot else ""
    return f"Shared bench: {bench.instrument}{lot}"


class TestEditForm(MergingForm):
    """What of a prepared test is not frozen."""

    purpose = TestForm.base_fields["purpose"]
    adjusted = TestForm.base_fields["adjusted"]
    correct_temperatures = TestForm.base_fields["correct_temperatures"]
    notes = TestForm.base_fields["notes"]


class RunForm(MergingForm):
    """What was measured at one flow point."""

    inlet_pressure = QuantityField(
        units=units.PRESSURE, required=False, help_text="At the proportioner, while it flows"
    )
    solution_flow = QuantityField(units=units.FLOW, required=False)
    flow_source = forms.ChoiceField(
        label="Flow taken from", required=False,
        choices=[("", "Not measured yet"), *FlowRun.FlowSource.choices],
    )  # fmt: skip
    outlets = OutletsField()
    level_before = QuantityField(units=units.VOLUME, required=False, label="In the tank before")
    level_after = QuantityField(units=units.VOLUME, required=False, label="In the tank after")


class HandTimeForm(Refusing, forms.Form):
    """A time that was noted on paper."""

    def __init__(self, *args: Any, zone: str, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"] = InstantField(
            label="Time by hand", zone=zone, now=now, seconds=True, initial=now
        )


class LeftOutForm(Refusing, forms.Form):
    """A line that stays out of service: why, and who has it in writing."""

    reason = forms.CharField(label="Why it stays out of service", max_length=300)
    handed_to = forms.CharField(
        label="Handed over in writing to", max_length=120,
        help_text="Name and post of the person who now knows that the system will not work.",
    )  # fmt: skip

    def __init__(self, *args: Any, zone: str, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["handed_at"] = InstantField(
            label="Handed over at", zone=zone, now=now, initial=now
        )


class WithdrawForm(Refusing, forms.Form):
    reason = forms.CharField(
        label="Why it is withdrawn", max_length=200, initial="Stamped by mistake"
    )
