"""What a person says about how long records are kept."""

from collections.abc import Sequence
from typing import Any

from django import forms

from itm.core.fields import DayField
from itm.core.forms import Refusing
from itm.registry.forms import AdoptAtForm
from itm.registry.models import Attachment
from itm.retention.models import PAPERS, Decision, Kind
from itm.retention.setting import MOST_YEARS, own_sites


def reason(label: str) -> forms.CharField:
    return forms.CharField(label=label, max_length=300, widget=forms.Textarea(attrs={"rows": 3}))


class AdoptForm(AdoptAtForm):
    governs = "The law, edition or paper"
    sites_for = staticmethod(own_sites)


class OwnPeriodForm(Refusing, forms.Form):
    kind = forms.ChoiceField(label="Of", choices=Kind.choices)
    years = forms.IntegerField(
        label="Years", min_value=1, max_value=MOST_YEARS,
        help_text="Counted from the day of the record, or from the day a file was attached.",
        error_messages={
            "min_value": f"Write whole years, 1 to {MOST_YEARS}.",
            "max_value": f"Write whole years, 1 to {MOST_YEARS}.",
            "invalid": f"Write whole years, 1 to {MOST_YEARS}.",
        },
    )  # fmt: skip
    why = reason("Why")


class EndPeriodForm(Refusing, forms.Form):
    why = reason("Why it no longer holds here")


class DecideForm(Refusing, forms.Form):
    """The files stand as a table on the page; the form only takes what was ticked."""

    keys = forms.TypedMultipleChoiceField(
        label="Files", error_messages={"required": "Choose at least one file."}
    )
    verb = forms.ChoiceField(
        label="What is decided", widget=forms.RadioSelect,
        choices=[
            (Decision.Verb.KEEP.value, "Keep them on until the day below"),
            (Decision.Verb.LET_GO.value, "Let them go, after 30 days in which it can be undone"),
        ],
    )  # fmt: skip
    until = DayField(label="Keep on until", required=False)
    reason = reason("Why")

    def __init__(self, data: Any, *, files: Sequence[Any], every: bool = False) -> None:
        keys = [str(one.row.key) for one in files]
        super().__init__(data, initial={"keys": keys if every else []})
        field: Any = self.fields["keys"]
        field.choices = [(key, key) for key in keys]

    def ticked(self) -> set[str]:
        return set(self["keys"].value() or [])


class PapersForm(Refusing, forms.Form):
    """One question a file; what is left open stays unsaid."""

    def __init__(self, data: Any, *, rows: Sequence[tuple[Attachment, str]]) -> None:
        super().__init__(data)
        choices = [("", "Not said yet"), *((one.value, str(one.label)) for one in PAPERS)]
        for row, kind in rows:
            self.fields[str(row.key)] = forms.ChoiceField(
                label=row.name, choices=choices, required=False, initial=kind
            )
