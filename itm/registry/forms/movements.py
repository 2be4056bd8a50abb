"""What goes into a tank and what comes out of it."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django import forms

from calc.units import VOLUME
from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.fields import DayField, NumberField
from itm.core.quantities import QuantityField
from itm.registry import queries
from itm.registry.forms.base import CHOOSE, Refusing, RegistryForm
from itm.registry.models import ConcentrateLot, TankMovement

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


class ChangeOverForm(Refusing, forms.Form):
    """Drain, cleaning and new fill of one day."""

    changed_on = DayField(label="Day")
    lot = forms.ModelChoiceField(
        ConcentrateLot.objects.none(),
        label="New lot",
        empty_label=CHOOSE,
        help_text="Of your list, those that are fluorine-free by their certificate.",
    )
    volume = QuantityField(units=VOLUME, label="Volume filled")
    cleaned = forms.CharField(
        label="How it was cleaned",
        max_length=200,
        help_text="Tank, pipes, proportioner: rinses and with what. If it was not, say so.",
    )
    residue_mg_l = NumberField(
        label="PFAS found by analysis after it",
        unit="mg/L",
        required=False,
        help_text="Sum of PFAS as the laboratory reports it.",
    )
    papers = forms.CharField(
        label="Papers",
        max_length=300,
        help_text="Waste papers, who cleaned, certificate of the new lot, consent: by number.",
    )

    def __init__(self, *args: Any, actor: Actor, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        free = queries.lots_to_choose(actor).filter(pfas=ConcentrateLot.Pfas.FREE)
        self.fields["lot"].queryset = free  # type: ignore[attr-defined]

    @contextmanager
    def refusals(self) -> Iterator[None]:
        """The services speak of a movement; its day is the day of the changeover."""
        with super().refusals():
            try:
                yield
            except Refused as refused:
                refused.place = {"moved_on": "changed_on"}.get(refused.place, refused.place)
                raise
