"""What comes into a store, is used and is taken away."""

from typing import Any

from django import forms

from calc.units import VOLUME
from itm.accounts.actor import Actor
from itm.core.fields import DayField
from itm.core.quantities import QuantityField
from itm.registry import queries
from itm.registry.forms.base import CHOOSE, RegistryForm
from itm.registry.forms.movements import because_field
from itm.registry.models import ConcentrateLot, Store, StoreMovement

Kind = StoreMovement.Kind
WORDS = {
    Kind.RECEIPT: ("moved_on", "volume", "containers", "paper", "reason"),
    Kind.USE: ("moved_on", "volume", "containers", "reason"),
    Kind.DISPOSAL: ("moved_on", "volume", "containers", "paper", "reason"),
}
PAPERS = {
    Kind.RECEIPT: ("Delivery note", "By number, where there is one."),
    Kind.DISPOSAL: ("Waste paper", "The number of the paper under which it was taken away."),
}


class StoreMovementForm(RegistryForm):
    """The fields of one kind. With a `row` it is put right, and says what was wrong with it."""

    moved_on = DayField(label="Day")
    volume = QuantityField(units=VOLUME, label="Volume")
    because = because_field()

    class Meta:
        model = StoreMovement
        fields = ("moved_on", "volume", "containers", "paper", "reason")
        labels = {"containers": "In what", "reason": "Note"}
        help_texts = {"containers": "4 drums of 200 L, 1 tote of 1000 L."}

    def __init__(self, data: Any = None, *, kind: str, row: Any = None, **on: Any) -> None:
        super().__init__(data, row=row, **({} if row else {**on, "kind": kind}))
        asked = {*WORDS[Kind(kind)], *(("because",) if row else ())}
        for name in set(self.fields) - asked - self._further():
            del self.fields[name]
        if "paper" in self.fields:
            self.fields["paper"].label, self.fields["paper"].help_text = PAPERS[Kind(kind)]
            self.fields["paper"].required = kind == Kind.DISPOSAL
        if kind == Kind.USE:
            self.fields["reason"].required = True
            self.fields["reason"].label = "What it was used for"
            self.fields[
                "reason"
            ].help_text = "What went into a tank is noted as the fill or top-up of that tank."

    def _further(self) -> set[str]:
        """Fields that stay whatever the kind."""
        return set()

    def _get_validation_exclusions(self) -> set[str]:
        """The service finds the store and works out what is left in it."""
        return super()._get_validation_exclusions() | {"store", "left"}


class ReceiptForm(StoreMovementForm):
    """What comes to a site names its lot, and how it stands there."""

    lot = forms.ModelChoiceField(ConcentrateLot.objects.none(), label="Lot", empty_label=CHOOSE)
    standing = forms.ChoiceField(
        label="It stands there as", choices=Store.Standing.choices, widget=forms.RadioSelect,
        initial=Store.Standing.SUPPLY,
    )  # fmt: skip
    where = forms.CharField(
        label="Where", max_length=120, required=False, help_text="The drum store by the pump house."
    )
    field_order = ("lot", "standing", "where", "moved_on", "volume", "containers", "paper")

    def __init__(self, data: Any = None, *, actor: Actor, **on: Any) -> None:
        super().__init__(data, kind=Kind.RECEIPT, **on)
        self.fields["lot"].queryset = queries.lots_to_choose(actor)  # type: ignore[attr-defined]

    def _further(self) -> set[str]:
        return {"lot", "standing", "where"}
