"""What goes into a tank and what comes out of it."""

from typing import Any

from django import forms

from calc.units import VOLUME
from itm.accounts.actor import Actor
from itm.core.fields import DayField, NumberField
from itm.core.quantities import QuantityField
from itm.registry import queries
from itm.registry.forms.base import Refusing, RegistryForm
from itm.registry.models import TankMovement

Kind = TankMovement.Kind
WORDS = {
    Kind.FILL: ("lot", "moved_on", "volume", "reason"),
    Kind.TOP_UP: ("lot", "moved_on", "volume", "reason", "allowed_by", "allowed_because"),
    Kind.DRAW_OFF: ("moved_on", "volume", "reason"),
    Kind.DRAIN: ("moved_on", "volume", "reason", "cleaned", "residue_mg_l"),
}


def _because() -> forms.CharField:
    return forms.CharField(
        label="What was wrong",
        max_length=200,
        help_text="The wrong one stays to be read with this reason.",
    )


class MovementForm(RegistryForm):
    """The fields of one kind. With a `row` it is put right, and says what was wrong with it."""

    moved_on = DayField(label="Day")
    volume = QuantityField(units=VOLUME, label="Volume")
    residue_mg_l = NumberField(
        label="PFAS found by analysis after it",
        unit="mg/L",
        required=False,
        help_text="Sum of PFAS in the rinse water or the new fill, as the laboratory reports it.",
    )
    first_of_day = forms.BooleanField(
        label="It came before what is noted on that day already", required=False
    )
    because = _because()

    class Meta:
        model = TankMovement
        fields = (
            "lot", "moved_on", "volume", "reason", "cleaned", "residue_mg_l", "allowed_by",
            "allowed_because",
        )  # fmt: skip
        labels = {
            "cleaned": "How it was cleaned",
            "allowed_by": "Who answers for a mixture",
            "allowed_because": "Why it may be mixed",
        }
        help_texts = {
            "cleaned": "Rinses and with what; leave empty if it was not cleaned.",
            "allowed_by": "Only where another type, another nominal percent or another PFAS status "
            "stands in the tank: such a mixture is refused without a name.",
            "allowed_because": "What it rests on: the makers' word and its date, the governing "
            "standard. A warning then stays with the tank, its lots and its tests.",
        }

    def __init__(self, data: Any = None, *, actor: Actor, kind: str, row: Any = None, **on: Any):
        super().__init__(data, row=row, **({} if row else {**on, "kind": kind}))
        asked = {*WORDS[Kind(kind)], "because" if row else "first_of_day"}
        for name in set(self.fields) - asked:
            del self.fields[name]
        if "lot" in self.fields:
            self.fields["lot"].required = True
            self.fields["lot"].queryset = queries.lots_to_choose(actor)  # type: ignore[attr-defined]
        goes_out = kind in TankMovement.OUT
        self.fields["reason"].required = goes_out
        self.fields["reason"].label = "Why it was taken out" if goes_out else "Reason"
        if goes_out:
            self.fields["reason"].help_text = "A test, a leak, a repair, a change of concentrate."
        if kind == Kind.DRAIN:
            self.fields["volume"].required = False
            self.fields["volume"].label = "Volume measured"
            self.fields["volume"].help_text = "If it was. The tank counts as empty either way."


class WithdrawForm(Refusing, forms.Form):
    because = _because()
