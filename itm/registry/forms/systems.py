"""Foam systems, proportioners and their flow points."""

from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.utils.html import format_html

from calc.units import FLOW
from itm.core.errors import Refused
from itm.core.fields import DayField, LinesField, NumberField
from itm.core.quantities import QuantityField
from itm.registry import queries, queries_equipment
from itm.registry.criteria import choices, words_of
from itm.registry.forms.base import RegistryForm
from itm.registry.models import FoamSystem, Proportioner, Tank
from itm.registry.restoring import FLUSH_ORDER, restoration_order, untouched
from itm.registry.services import PointRow, check_flow_points


class SystemForm(RegistryForm):
    minimum_flow = QuantityField(
        units=FLOW, label="Minimum solution flow", help_text="The smallest flow to test at."
    )
    design_flow = QuantityField(
        units=FLOW, label="Design solution flow", help_text="The largest flow to test at."
    )
    required_minutes = NumberField(label="Required discharge time", unit="min")
    custom_lower = NumberField(label="Lower limit", unit="%", required=False)
    custom_upper = NumberField(label="Upper limit", unit="%", required=False)
    commissioned_on = DayField(
        label="Commissioned on", help_text="The first annual test counts from this day."
    )

    class Meta:
        model = FoamSystem
        fields = (
            "name", "kind", "hazard", "fuel", "minimum_flow", "design_flow", "required_minutes",
            "commissioned_on", "criterion", "criterion_source", "custom_lower", "custom_upper",
        )  # fmt: skip
        labels = {
            "kind": "Type of system",
            "hazard": "What it protects",
            "fuel": "Fuel class",
            "criterion": "Acceptance band",
            "criterion_source": "Source of the limits",
        }
        widgets = {"criterion": forms.RadioSelect}
        help_texts = {
            "hazard": "",
            "criterion": "The edition that the authority having jurisdiction adopted decides. "
            "Tests already prepared keep the limits they were prepared with.",
            "criterion_source": "Code and edition, as the report names it; left empty, what stands "
            "beside the choice.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["criterion"].choices = [  # type: ignore[attr-defined]
            (code, _explained(title, words_of(code).grounds)) for code, title in choices()
        ]


def _explained(title: str, grounds: str) -> str:
    """A choice with what it rests on; the edition that the authority adopted decides."""
    return format_html("<span>{}<small>{}</small></span>", title, grounds) if grounds else title


class ProportionerForm(RegistryForm):
    nominal_percent = NumberField(
        label="Nominal percent", unit="%", help_text="Concentrate in the solution, by volume."
    )
    lowest_listed_flow = QuantityField(units=FLOW, label="Lowest listed flow", required=False)
    highest_listed_flow = QuantityField(units=FLOW, label="Highest listed flow", required=False)
    earlier_test_on = DayField(
        label="Last proportioning test before this record",
        required=False,
        help_text="From older papers. The next one is counted from this day.",
    )
    flush_order = LinesField(
        label="Order of stopping and flushing",
        required=False,
        help_text=(
            "One step a line. What stands here at first is common practice; the maker's manual "
            "for this system comes before it."
        ),
    )
    restoration_order = LinesField(
        label="To be put back after a test",
        rows=14,
        most=200,
        required=False,
        help_text=(
            "One line each, in the order of the walk back. As long as it stays as proposed, or is "
            "empty, it follows the valves of the system and of its tank."
        ),
    )

    class Meta:
        model = Proportioner
        fields = (
            "tag", "kind", "tank", "nominal_percent", "lowest_listed_flow", "highest_listed_flow",
            "earlier_test_on", "flush_order", "restoration_order",
        )  # fmt: skip
        labels = {"kind": "Type of proportioner", "tank": "Concentrate tank"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        row = self.instance
        if row.pk is None:
            field: Any = self.fields["tank"]
            field.queryset = queries.tanks_to_choose(row.system.site)
            first = field.queryset.first()
            self.initial.update(
                tank=first.pk if first else None,
                flush_order=list(FLUSH_ORDER),
                restoration_order=self._proposed(first, ""),
            )
        else:
            del self.fields["tank"]  # it comes to another one by a move, which is kept
            self.initial["restoration_order"] = queries_equipment.lines_to_put_back(row)[0]

    def _proposed(self, tank: Tank | None, kind: str) -> list[str]:
        valves = queries_equipment.valves_at(self.instance.system, tank)
        return restoration_order(tank.kind if tank else "", kind, valves)

    def _as_proposed(self, lines: list[str]) -> bool:
        """Whether nobody wrote these lines: as offered for one of the tanks that can be chosen."""
        row = self.instance
        chosen: Any = self.fields["tank"].queryset if row.pk is None else [row.tank]  # type: ignore[attr-defined]
        valves = [queries_equipment.valves_at(row.system, tank) for tank in (None, *chosen)]
        return not lines or untouched(lines, valves)

    def follow(self, typed: Any) -> None:
        """Show the list that fits the kind and tank just chosen, unless somebody wrote in it."""
        text = typed.get("restoration_order", "")
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        if self._as_proposed(lines):
            tank = self.fields["tank"].queryset.filter(pk=_digits(typed.get("tank"))).first()  # type: ignore[attr-defined]
            lines = self._proposed(tank, typed.get("kind", ""))
        self.initial["restoration_order"] = lines

    def clean(self) -> dict[str, Any]:
        """Lists that nobody touched stay nobody's: they follow kind, tank and valves."""
        cleaned = self.cleaned_data
        if "flush_order" in cleaned:
            cleaned["flush_order"] = cleaned["flush_order"] or list(FLUSH_ORDER)
        if "restoration_order" in cleaned and self._as_proposed(cleaned["restoration_order"]):
            cleaned["restoration_order"] = []
        return super().clean()


def _digits(text: str | None) -> int | None:
    return int(text) if text and text.isdecimal() and len(text) < 19 else None


class FlowPointForm(forms.Form):
    """One row; an empty one is passed over."""

    key = forms.UUIDField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(max_length=40, required=False, label="Name")
    flow = QuantityField(units=FLOW, required=False, label="Solution flow")
    retired = forms.BooleanField(required=False, label="No longer tested")

    def clean(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        name, flow = cleaned.get("name"), cleaned.get("flow")
        if "name" in cleaned and not name and cleaned.get("key"):
            self.add_error("name", "To drop a flow point, keep its name and tick the last box.")
        elif "name" in cleaned and not name and flow is not None:
            self.add_error("name", "Name this flow point, for example “half load”.")
        if "flow" in cleaned and flow is None and name:
            self.add_error("flow", f"At which solution flow is “{name}” tested?")
        if flow is not None and flow.si <= 0:
            self.add_error("flow", "The flow of a flow point is above 0.")
        return cleaned


class FlowPointRows(forms.BaseFormSet):
    """The flow points of one proportioner."""

    EXTRA = 2

    was_retired: dict[UUID, date | None]

    def point_rows(self, today: date) -> list[PointRow]:
        """A point that was retired before keeps its day."""
        out = []
        for form in self.forms:
            cleaned = form.cleaned_data
            if not cleaned.get("name"):
                continue
            key = cleaned.get("key")
            gone = (self.was_retired.get(key) or today) if cleaned["retired"] else None
            if gone and key is None:
                continue  # a new row that is not to be tested was never a flow point
            out.append(PointRow(cleaned["name"].strip(), cleaned["flow"], key, gone))
        return out

    def clean(self) -> None:
        if any(self.errors):
            return
        try:
            check_flow_points(self.point_rows(date.min))
        except Refused as refusal:
            raise forms.ValidationError(refusal.sentence, code=refusal.code) from refusal


def flow_point_rows(proportioner: Proportioner, data: Any = None) -> FlowPointRows:
    """Rows as stored, or minimum and design of the system for a new proportioner."""
    system = proportioner.system
    rows = forms.formset_factory(
        FlowPointForm, formset=FlowPointRows, extra=FlowPointRows.EXTRA, max_num=20,
        validate_max=True, absolute_max=40,
    )  # fmt: skip
    stored: dict[UUID, date | None] = {}
    if proportioner.pk is None:
        initial: list[dict[str, Any]] = [
            {"name": "minimum", "flow": system.minimum_flow_typed},
            {"name": "design", "flow": system.design_flow_typed},
        ]
    else:
        points = queries.flow_points(proportioner)
        stored = {point.key: point.retired_on for point in points}
        initial = [
            {"key": point.key, "name": point.name, "flow": point.flow_typed,
             "retired": point.retired_on is not None}
            for point in points
        ]  # fmt: skip
    made: Any = rows(data, initial=initial, prefix="points")
    made.was_retired = stored
    return made
