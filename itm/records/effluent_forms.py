"""The form of one amount of effluent."""

from typing import Any

from calc.units import VOLUME
from itm.core.fields import DayField, NumberField
from itm.core.quantities import QuantityField
from itm.records.models import EffluentLine
from itm.registry.forms.base import RegistryForm
from itm.registry.forms.movements import because_field

Kind = EffluentLine.Kind
# Of each kind: what is asked, and how "place" is worded.
ASKED = {
    Kind.DISCHARGED: {"percent", "pfas"},
    Kind.COLLECTED: {"place", "pfas"},
    Kind.RELEASED: {"place", "paper", "pfas"},
    Kind.HAULED: {"place", "hauler", "paper", "pfas"},
}
TITLES = {
    Kind.DISCHARGED: "Note what was discharged",
    Kind.COLLECTED: "Note what was collected",
    Kind.RELEASED: "Note what was not collected",
    Kind.HAULED: "Note what was hauled away",
}
ALWAYS = {"happened_on", "volume", "note"}
PLACE = {
    Kind.COLLECTED: ("Where it stands", "Bund, tank, tank truck, drums."),
    Kind.RELEASED: ("Where it went", "Ground, storm drain, sewer, pond, sea."),
    Kind.HAULED: ("Where it was taken to", "Name and place of the plant that took it."),
}


class EffluentForm(RegistryForm):
    """The fields of one kind. With a `row` it is put right, and says what was wrong with it."""

    happened_on = DayField(label="Day")
    volume = QuantityField(
        units=VOLUME, label="Volume",
        help_text="Of liquid: foam counts as the solution that it was made of.",
    )  # fmt: skip
    percent = NumberField(
        unit="%", required=False, label="Concentrate in it",
        help_text="By volume, as discharged; empty if not known.",
    )  # fmt: skip
    because = because_field()

    class Meta:
        model = EffluentLine
        fields = (
            "happened_on", "volume", "percent", "pfas", "place", "hauler", "paper", "note",
        )  # fmt: skip
        labels = {
            "pfas": "PFAS",
            "hauler": "Who took it away",
            "paper": "Number of the paper",
            "note": "Remark",
        }
        help_texts = {
            "pfas": "What touched a concentrate with PFAS is waste of the same kind: solution, "
            "flush water, liners and wipes.",
        }

    def __init__(self, data: Any = None, *, kind: str, row: Any = None, **on: Any) -> None:
        super().__init__(data, row=row, **({} if row else {**on, "kind": kind}))
        asked = {*ALWAYS, *ASKED[Kind(kind)]} | ({"because"} if row else set())
        for name in set(self.fields) - asked:
            del self.fields[name]
        if "place" in self.fields:
            self.fields["place"].required = True
            self.fields["place"].label, self.fields["place"].help_text = PLACE[Kind(kind)]
        hauled = kind == Kind.HAULED
        for name in {"hauler", "paper"} & set(self.fields):
            self.fields[name].required = hauled
        if kind == Kind.RELEASED:
            self.fields["paper"].label = "Number of the consent"
            self.fields["paper"].help_text = (
                "Where it was allowed in writing. A release may have to be told at once: local "
                "rules say to whom."
            )
        if hauled:
            self.fields["paper"].help_text = "Of the waste paper that went along."
        if row:
            self.initial["because"] = ""
