"""What a person types about a finding."""

from datetime import datetime, timedelta
from typing import Any

from django import forms

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.fields import DayField
from itm.core.forms import Refusing
from itm.findings import clocks, impairing, queries
from itm.findings.models import Deficiency, Impairment, NoticeClock
from itm.records.forms import InstantField
from itm.registry.forms import AdoptAtForm, AttachForm
from itm.registry.models import FoamSystem, Grant, Site
from itm.schedule.models import Requirement

AHEAD = timedelta(days=3660)  # a time that is expected may be to come
TELLS = "Owner, authority, fire service, monitoring company, insurer …"


def long_text(label: str, most: int, **kwargs: Any) -> forms.CharField:
    return forms.CharField(
        label=label, max_length=most, widget=forms.Textarea(attrs={"rows": 4}), **kwargs
    )


class DeficiencyForm(AttachForm):
    """By hand, with photos. The files come last: nothing that follows too large a file is lost."""

    place = forms.ChoiceField(label="At", required=False)
    severity = forms.TypedChoiceField(
        label="Class", coerce=int, choices=Deficiency.Severity.choices,
        help_text="Impairment: out of order. Critical: could affect performance in a fire. "
        "Noncritical: does not, and has to be put right.",
    )  # fmt: skip
    words = long_text("What is wrong", 400)
    found_on = DayField(label="Found on")
    field_order = ("place", "severity", "words", "found_on", "caption", "chosen")

    def __init__(
        self, data: Any, files: Any, *, refused: list[str], actor: Actor, site: Site, **initial: Any
    ) -> None:
        super().__init__(data, files, refused=refused)
        self.initial = {**self.initial, **initial}
        self.fields["chosen"].required = False
        self.fields["chosen"].label = "Photos"
        self.fields["caption"].label = "What the photos show"
        self.things = dict(queries.things_at(actor, site))
        named = [(name, f"{name.partition(':')[0]} {thing}") for name, thing in self.things.items()]
        self.fields["place"].choices = [("", "the whole site"), *named]  # type: ignore[attr-defined]


class PicturesForm(AttachForm):
    pass


class TellForm(Refusing, forms.Form):
    who = forms.CharField(label="Who was told, by name", max_length=120, help_text=TELLS)
    how = forms.CharField(max_length=60, required=False, help_text="By telephone, in writing …")
    reference = forms.CharField(
        max_length=60, required=False, help_text="Number of the call or of the letter"
    )

    def __init__(self, data: Any, *, zone: str, now: datetime) -> None:
        super().__init__(data)
        self.fields["told_at"] = InstantField(label="When", zone=zone, now=now, initial=now)


def _answers() -> forms.ModelChoiceField:
    return forms.ModelChoiceField(
        NoticeClock.objects.none(), required=False, label="This answers",
        empty_label="No clock in particular",
    )  # fmt: skip


class TellOfImpairmentForm(TellForm):
    clock = _answers()

    def __init__(self, data: Any, *, impairment: Impairment, zone: str, now: datetime) -> None:
        super().__init__(data, zone=zone, now=now)
        field: Any = self.fields["clock"]
        field.queryset = clocks.asked_of(impairment, NoticeClock.Asks.TOLD, now)


class ArrangeForm(Refusing, forms.Form):
    what = forms.ChoiceField(
        label="What is arranged", choices=[(one, one) for one in impairing.ARRANGEMENTS]
    )
    who = forms.CharField(label="Who sees to it", max_length=120)
    words = forms.CharField(label="In words", max_length=300, required=False)
    clock = _answers()

    def __init__(self, data: Any, *, impairment: Impairment, zone: str, now: datetime) -> None:
        asked = clocks.asked_of(impairment, NoticeClock.Asks.ARRANGED, now)
        super().__init__(data, initial={"clock": asked.first()})
        field: Any = self.fields["clock"]
        field.queryset = asked
        self.fields["since"] = InstantField(label="From when on", zone=zone, now=now, initial=now)


class ClassForm(Refusing, forms.Form):
    severity = forms.TypedChoiceField(
        label="Class", coerce=int, choices=Deficiency.Severity.choices
    )
    reason = forms.CharField(
        label="Why", max_length=300, help_text="Stays with the deficiency; the authority reads it."
    )


class AssignForm(Refusing, forms.Form):
    responsible = forms.CharField(
        label="Who sees to it", max_length=120, required=False, help_text="A person, by name"
    )
    assigned = forms.ModelChoiceField(
        Organisation.objects.none(), label="Contractor", required=False, empty_label="None"
    )
    target_on = DayField(label="To be put right by", required=False)

    def __init__(self, data: Any, *, actor: Actor, row: Deficiency) -> None:
        given = {"responsible": row.responsible, "assigned": row.assigned_id,
                 "target_on": row.target_on}  # fmt: skip
        super().__init__(data, initial=given)
        field: Any = self.fields["assigned"]
        engaged = Grant.objects.today(actor).filter(site=row.site_id)
        field.queryset = Organisation.objects.filter(pk__in=engaged.values("organisation"))


class RepairForm(Refusing, forms.Form):
    part = forms.CharField(label="Part, and what was done to it", max_length=400)
    who = forms.CharField(label="Who did it", max_length=120)

    def __init__(self, data: Any, *, zone: str, now: datetime) -> None:
        super().__init__(data)
        self.fields["repaired_at"] = InstantField(label="When", zone=zone, now=now, initial=now)


class NoteForm(Refusing, forms.Form):
    words = long_text("Note", 500)


class EndForm(Refusing, forms.Form):
    reason = forms.CharField(
        label="Why it ends without a fix", max_length=400,
        help_text="Owner and authority read it.",
    )  # fmt: skip


class ImpairmentForm(Refusing, forms.Form):
    systems = forms.ModelMultipleChoiceField(
        FoamSystem.objects.none(), label="Systems out of service",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Name at least one system that is out of service."},
    )  # fmt: skip
    reason = forms.CharField(label="Why", max_length=200)
    coordinator = forms.CharField(
        label="Impairment coordinator", max_length=120,
        help_text="The owner, unless somebody else is named.",
    )  # fmt: skip
    water = forms.CharField(
        label="Which hazards still have plain water", max_length=300, required=False
    )
    stands_in = forms.CharField(
        label="What stands in meanwhile", max_length=500, required=False,
        help_text="Fire watch, monitors, a temporary supply, work stopped …",
    )  # fmt: skip

    def __init__(self, data: Any, *, site: Site, now: datetime, **initial: Any) -> None:
        super().__init__(data, initial={"coordinator": site.owner.name, **initial})
        field: Any = self.fields["systems"]
        field.queryset = site.systems.filter(retired_on=None)
        zone = site.time_zone
        self.fields["started_at"] = InstantField(
            label="Out of service since", zone=zone, now=now, initial=now
        )
        self.fields["expected_end_at"] = expected(zone, now)


def expected(zone: str, now: datetime, **kwargs: Any) -> InstantField:
    return InstantField(label="Expected back", zone=zone, now=now + AHEAD, required=False, **kwargs)


class ChangeImpairmentForm(Refusing, forms.Form):
    water = ImpairmentForm.base_fields["water"]
    stands_in = ImpairmentForm.base_fields["stands_in"]

    def __init__(self, data: Any, *, row: Impairment, now: datetime) -> None:
        super().__init__(data, initial={"water": row.water, "stands_in": row.stands_in})
        self.fields["expected_end_at"] = expected(
            row.site.time_zone, now, initial=row.expected_end_at
        )
        self.fields["words"] = forms.CharField(label="What has changed", max_length=300)


class RoundForm(Refusing, forms.Form):
    who = forms.CharField(label="Who walked it", max_length=120)
    words = forms.CharField(label="What was seen", max_length=300, required=False)

    def __init__(self, data: Any, *, zone: str, now: datetime, who: str) -> None:
        super().__init__(data, initial={"who": who})
        self.fields["walked_at"] = InstantField(label="When", zone=zone, now=now, initial=now)


class EndImpairmentForm(Refusing, forms.Form):
    words = forms.CharField(label="How the systems were brought back", max_length=300)

    def __init__(self, data: Any, *, zone: str, now: datetime) -> None:
        super().__init__(data)
        self.fields["ended_at"] = InstantField(
            label="Back in service since", zone=zone, now=now, initial=now
        )


class ClockForm(AdoptAtForm):
    governs = "The edition or paper"
    sites_for = staticmethod(clocks.sites_to_adopt_for)


class OverdueForm(Refusing, forms.Form):
    severity = forms.TypedChoiceField(
        label="Class", coerce=int, choices=Deficiency.Severity.choices,
        help_text=DeficiencyForm.base_fields["severity"].help_text,
    )  # fmt: skip
    because = forms.CharField(
        label="Why, or the paper that says so", max_length=200,
        help_text="Stands on every deficiency that it opens.",
    )  # fmt: skip

    def __init__(self, data: Any, *, requirement: Requirement) -> None:
        usual = requirement.overdue_class or Deficiency.Severity.NONCRITICAL.value
        super().__init__(data, initial={"severity": usual, "because": requirement.overdue_source})


class QuestionForm(Refusing, forms.Form):
    words = long_text("Question", 1000)


class AnswerForm(Refusing, forms.Form):
    words = long_text("Answer", 2000)


class AuthorityVisitForm(AttachForm):
    """A note of a visit; the files come last, as everywhere."""

    visited_on = DayField(label="Day of the visit")
    present = forms.CharField(
        label="Who was there", max_length=400,
        help_text="By name: from the authority, of the owner, of a contractor.",
    )  # fmt: skip
    looked_at = long_text("What was looked at, and what was seen", 4000)
    because = forms.CharField(label="What is wrong with the note as it was", max_length=200)
    field_order = ("because", "visited_on", "present", "looked_at", "caption", "chosen")

    def __init__(
        self, data: Any, files: Any, *, refused: list[str], correcting: bool = False, **initial: Any
    ) -> None:
        super().__init__(data, files, refused=refused)
        self.initial = {**self.initial, **initial}
        if not correcting:
            del self.fields["because"]
        self.fields["chosen"].required = False
        self.fields["chosen"].label = "Photos or papers"
        self.fields["caption"].label = "What they show"


class OrderForm(Refusing, forms.Form):
    words = long_text("What has to be done", 1000)
    due_on = DayField(label="By")


class MetForm(Refusing, forms.Form):
    words = forms.CharField(label="What shows that it is met", max_length=400)
