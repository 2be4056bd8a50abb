"""Forms about programmes."""

from typing import Any

from django import forms

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.fields import DayField, NumberField
from itm.registry.forms.base import CHOOSE, Refusing
from itm.registry.models import FoamSystem, Site
from itm.schedule import adoption_queries
from itm.schedule.adopting import Agreed
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Consent, Happening, Requirement
from itm.schedule.shifting import Shift

ALL_SITES = "All your sites"


class AdoptForm(Refusing, forms.Form):
    """For which sites, and from which day."""

    site = forms.ModelChoiceField(
        Site.objects.none(), label="For", required=False, empty_label=ALL_SITES
    )
    starts_on = DayField(label="Holds from")

    def __init__(self, data: Any = None, *, actor: Actor, initial: Any = None) -> None:
        super().__init__(data, initial=initial)
        if actor.kind != "owner":
            del self.fields["site"]
            return
        self.fields["site"].queryset = adoption_queries.own_sites(actor)  # type: ignore[attr-defined]


class ConfirmForm(Refusing, forms.Form):
    """Which rows were held against which document."""

    rows = forms.ModelMultipleChoiceField(
        Requirement.objects.none(),
        label="Rows that you held against it",
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    checked_against = forms.CharField(
        label="Held against", max_length=200, required=False,
        help_text="The document with its edition, for example the bought standard of 2023.",
    )  # fmt: skip

    def __init__(self, data: Any = None, *, waiting: list[Requirement]) -> None:
        super().__init__(data)
        rows: Any = self.fields["rows"]
        rows.queryset = Requirement.objects.filter(pk__in=[row.pk for row in waiting])


class ConsentFields(Refusing, forms.Form):
    """What the authority agreed to. All of it or nothing."""

    authority = forms.ModelChoiceField(
        Organisation.objects.none(),
        label="Authority that agreed",
        required=False,
        empty_label=CHOOSE,
    )
    what = forms.CharField(label="To what", max_length=300, required=False)
    person = forms.CharField(label="Who agreed for it", max_length=120, required=False)
    given_on = DayField(label="On", required=False)
    paper = forms.CharField(
        label="Paper", max_length=200, required=False, help_text="Letter, permit or file number."
    )
    CONSENT = ("authority", "what", "person", "given_on", "paper")

    def __init__(self, data: Any = None, *, adoption: Adoption, initial: Any = None) -> None:
        super().__init__(data, initial=initial)
        choice: Any = self.fields["authority"]
        choice.queryset = adoption_queries.authorities_over(adoption)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        given = [name for name in self.CONSENT if cleaned.get(name)]
        for name in self.CONSENT:
            if given and not cleaned.get(name) and name not in self.errors:
                self.add_error(name, "A consent says all of it: authority, what, who, day, paper.")
        return cleaned

    @property
    def agreed(self) -> Agreed | None:
        if not self.cleaned_data.get("authority"):
            return None
        return Agreed(**{name: self.cleaned_data[name] for name in self.CONSENT})


class AnswerConsentForm(Refusing, forms.Form):
    """What the authority says of a consent that was noted in its name."""

    said = forms.ChoiceField(
        label="Was it given?", widget=forms.RadioSelect, choices=Consent.Answer.choices
    )
    words = forms.CharField(
        label="Why not, or how instead", max_length=500, required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Needed where it was not given. The owner reads it.",
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("said") == Consent.Answer.DISPUTED and not cleaned.get("words"):
            self.add_error("words", "Say why the consent does not stand, or what it says instead.")
        return cleaned


class EndAdoptionForm(ConsentFields):
    ends_on = DayField(label="Last day")
    field_order = ("ends_on",)


class TermsForm(ConsentFields):
    """Other figures for one row, from a day on; or the row is left out."""

    starts_on = DayField(label="From")
    left_out = forms.BooleanField(label="Leave this row out", required=False)
    interval = forms.IntegerField(label="Interval", required=False, min_value=0, max_value=32000)
    unit = forms.ChoiceField(label="Counted in", choices=Requirement.Unit.choices)
    earliest = forms.IntegerField(
        label="Earliest", required=False, min_value=0, max_value=32000,
        help_text="Done sooner after the last it does not count. Empty: nothing is too soon.",
    )  # fmt: skip
    latest = forms.IntegerField(
        label="Latest", required=False, min_value=0, max_value=32000,
        help_text="After this it is overdue. Empty: with the interval.",
    )  # fmt: skip
    field_order = ("starts_on", "interval", "unit", "earliest", "latest", "left_out")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        missing = cleaned.get("interval") is None and "interval" not in self.errors
        if missing and not cleaned.get("left_out"):
            self.add_error("interval", "Give the interval, or leave the row out.")
        return cleaned

    @property
    def window(self) -> Window | None:
        cleaned = self.cleaned_data
        if cleaned["left_out"]:
            return None
        interval, unit = cleaned["interval"], cleaned["unit"]
        calendar = unit.startswith("calendar")
        earliest = cleaned["earliest"]
        latest = cleaned["latest"]
        return Window(
            earliest=(interval if calendar else 0) if earliest is None else earliest,
            interval=interval,
            latest=interval if latest is None else latest,
            unit=unit,
        )


class DecisionForm(Refusing, forms.Form):
    """How sure a statement must be to count as settled; empty is simple acceptance."""

    verdict_probability = NumberField(
        label="Settled from", required=False,
        help_text="Probability that the statement is right, for example 0.75 or 0.95. Empty: the "
        "plain value decides and nothing is undecided.",
    )  # fmt: skip
    lean_probability = NumberField(
        label="Not lean from", required=False,
        help_text="Probability that it is not lean, at least as high. Empty: the same.",
    )  # fmt: skip


class ShiftForm(Refusing, forms.Form):
    """Which open duties, and where their due dates go."""

    BY, TO, BACK = "by", "to", "back"
    site = forms.ModelChoiceField(
        Site.objects.none(), label="At", required=False, empty_label=ALL_SITES
    )
    task = forms.ChoiceField(
        label="Which", required=False, choices=[("", "Everything open"), *Requirement.Task.choices]
    )
    how = forms.ChoiceField(
        label="Move them", widget=forms.RadioSelect, initial=BY,
        choices=[
            (BY, "by a number of days"), (TO, "to one day"),
            (BACK, "back to the programme's own day"),
        ],
    )  # fmt: skip
    days = forms.IntegerField(
        label="Days", required=False, min_value=-3660, max_value=3660,
        help_text="Below zero moves them earlier.",
    )  # fmt: skip
    to = DayField(label="Day", required=False)
    why = forms.CharField(
        label="Why", max_length=200, required=False,
        help_text="Stands in the history of each duty.",
    )  # fmt: skip

    def __init__(self, data: Any = None, *, actor: Actor, initial: Any = None) -> None:
        super().__init__(data, initial=initial)
        site: Any = self.fields["site"]
        site.queryset = adoption_queries.own_sites(actor)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        how = cleaned.get("how")
        if how == self.BY and not cleaned.get("days") and "days" not in self.errors:
            self.add_error("days", "Give a number of days, above or below zero.")
        if how == self.TO and not cleaned.get("to") and "to" not in self.errors:
            self.add_error("to", "Give the day.")
        return cleaned

    @property
    def shift(self) -> Shift:
        cleaned = self.cleaned_data
        if cleaned["how"] == self.BY:
            return Shift(days=cleaned["days"])
        return Shift(to=cleaned["to"]) if cleaned["how"] == self.TO else Shift()


class HappeningForm(Refusing, forms.Form):
    """What happened, where and when."""

    kind = forms.ChoiceField(label="What happened", choices=Happening.Kind.choices)
    system = forms.ModelChoiceField(
        FoamSystem.objects.none(), label="At", required=False, empty_label="The whole site"
    )
    happened_on = DayField(label="On")
    words = forms.CharField(label="In a few words", max_length=300)

    def __init__(self, data: Any = None, *, site: Site, initial: Any = None) -> None:
        super().__init__(data, initial=initial)
        choice: Any = self.fields["system"]
        choice.queryset = site.systems.filter(retired_on=None)
