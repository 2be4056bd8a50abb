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
from itm.registry.contents import amount
from itm.registry.forms.base import CHOOSE, Refusing, RegistryForm
from itm.registry.models import ConcentrateLot, Store, Tank, TankMovement
from itm.registry.queries_stores import held, supply_at, with_book

Kind, Pfas = TankMovement.Kind, ConcentrateLot.Pfas
WORDS = {
    Kind.FILL: ("lot", "moved_on", "volume", "reason"),
    Kind.TOP_UP: ("lot", "moved_on", "volume", "reason", "allowed_by", "allowed_because"),
    Kind.DRAW_OFF: ("moved_on", "volume", "reason"),
    Kind.DRAIN: (
        "moved_on",
        "volume",
        "reason",
        "cleaned",
        "rinses",
        "rinse_volume",
        "residue_mg_l",
    ),
}


class StoreField(forms.ModelChoiceField):
    def label_from_instance(self, store: Any) -> str:
        return f"{store.lot}: {amount(held(store), '0 L')} there"


def rinses_field() -> forms.IntegerField:
    return forms.IntegerField(
        label="Number of rinses", min_value=1, max_value=99, required=False,
        help_text="Each fill of rinse water that was drained again.",
    )  # fmt: skip


def rinse_volume_field() -> QuantityField:
    return QuantityField(
        units=VOLUME, label="Rinse water of all of them", required=False,
        help_text="It is waste as well: it stands beside the effluent of the site.",
    )  # fmt: skip


def because_field() -> forms.CharField:
    return forms.CharField(
        label="What was wrong",
        max_length=200,
        help_text="The wrong one stays to be read with this reason.",
    )


def store_field() -> StoreField:
    return StoreField(
        Store.objects.none(),
        label="Taken from the store",
        required=False,
        empty_label="No: straight from a delivery",
        help_text="What went in then leaves the store with it.",
    )


def waste_field() -> forms.BooleanField:
    return forms.BooleanField(
        label="What came out stands at the site as waste, to be taken away",
        required=False,
        help_text="It is then noted in the store by its lots, and in the PFAS inventory until it "
        "is taken away.",
    )


class MovementForm(RegistryForm):
    """The fields of one kind. With a `row` it is put right, and says what was wrong with it."""

    moved_on = DayField(label="Day")
    volume = QuantityField(units=VOLUME, label="Volume")
    rinses = rinses_field()
    rinse_volume = rinse_volume_field()
    residue_mg_l = NumberField(
        label="PFAS found by analysis after it",
        unit="mg/L",
        required=False,
        help_text="Sum of PFAS in the rinse water or the new fill, as the laboratory reports it.",
    )
    store = store_field()
    as_waste = waste_field()
    first_of_day = forms.BooleanField(
        label="It came before what is noted on that day already", required=False
    )
    because = because_field()

    class Meta:
        model = TankMovement
        fields = (
            "lot", "moved_on", "volume", "reason", "cleaned", "rinses", "rinse_volume",
            "residue_mg_l", "allowed_by", "allowed_because",
        )  # fmt: skip
        labels = {
            "cleaned": "How it was cleaned",
            "allowed_by": "Who answers for a mixture",
            "allowed_because": "Why it may be mixed",
        }
        help_texts = {
            "cleaned": "With what, and what went along; leave empty if it was not cleaned.",
            "allowed_by": "Only where another type, another nominal percent or another PFAS status "
            "stands in the tank: such a mixture is refused without a name.",
            "allowed_because": "What it rests on: the makers' word and its date, the governing "
            "standard. A warning then stays with the tank, its lots and its tests.",
        }

    def __init__(self, data: Any = None, *, actor: Actor, kind: str, row: Any = None, **on: Any):
        super().__init__(data, row=row, **({} if row else {**on, "kind": kind}))
        for name in TankMovement.derived:  # of the wrong one; the right one's follow from the book
            setattr(self.instance, name, None)
        goes_out = kind in TankMovement.OUT
        asked = {*WORDS[Kind(kind)], "because" if row else "first_of_day"}
        asked.add("as_waste" if goes_out else "store")
        for name in set(self.fields) - asked:
            del self.fields[name]
        if "lot" in self.fields:
            self.fields["lot"].required = True
            self.fields["lot"].queryset = queries.lots_to_choose(actor)  # type: ignore[attr-defined]
        self._offer_stores(row.tank if row else on["tank"], row)
        self.fields["reason"].required = goes_out
        self.fields["reason"].label = "Why it was taken out" if goes_out else "Reason"
        if goes_out:
            self.fields["reason"].help_text = "A test, a leak, a repair, a change of concentrate."
        if kind == Kind.DRAIN:
            self.fields["volume"].required = False
            self.fields["volume"].label = "Volume measured"
            self.fields["volume"].help_text = "If it was. The tank counts as empty either way."

    def _offer_stores(self, tank: Tank, row: TankMovement | None) -> None:
        """What the movement drew from stays offered, though it may have emptied it."""
        drawn = list(row.in_store.filter(withdrawn_at=None)) if row else []
        if "as_waste" in self.fields:
            self.initial["as_waste"] = bool(drawn)
            return
        self.initial["store"] = drawn[0].store_id if drawn else None
        offered = {store.pk for store in supply_at(tank.site)} | {one.store_id for one in drawn}
        field: Any = self.fields["store"]
        field.queryset = with_book(Store.objects.filter(pk__in=offered))
        if not offered:
            del self.fields["store"]


class WithdrawForm(Refusing, forms.Form):
    because = because_field()


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
    store = store_field()
    drained = QuantityField(
        units=VOLUME,
        label="Volume drained",
        required=False,
        help_text="If it was measured. The tank counts as empty either way.",
    )
    as_waste = waste_field()
    cleaned = forms.CharField(
        label="How it was cleaned",
        max_length=200,
        help_text="Tank, pipes, proportioner, and with what. If it was not, say so.",
    )
    rinses = rinses_field()
    rinse_volume = rinse_volume_field()
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

    def __init__(self, *args: Any, actor: Actor, tank: Tank, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        free = queries.lots_to_choose(actor).filter(pfas=Pfas.FREE)
        self.fields["lot"].queryset = free  # type: ignore[attr-defined]
        offered = [store.pk for store in supply_at(tank.site) if store.lot.pfas == Pfas.FREE]
        field: Any = self.fields["store"]
        field.queryset = with_book(Store.objects.filter(pk__in=offered))
        if not offered:
            del self.fields["store"]

    @contextmanager
    def refusals(self) -> Iterator[None]:
        """The services speak of a movement; its day is the day of the changeover."""
        with super().refusals():
            try:
                yield
            except Refused as refused:
                refused.place = {"moved_on": "changed_on"}.get(refused.place, refused.place)
                raise
