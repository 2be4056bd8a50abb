"""How much concentrate stands where on a day, by its PFAS status: in tanks and in store."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch

from itm.accounts.actor import Actor
from itm.registry.contents import Contents, Part, contents, pfas_words
from itm.registry.models import (
    ConcentrateLot,
    Site,
    Store,
    StoreMovement,
    Tank,
    TankMovement,
)

Pfas = ConcentrateLot.Pfas
_BY_LOT = ("store__standing", "store__lot__product", "store__lot__batch", "store_id")
WORST_FIRST = (Pfas.CONTAINS, Pfas.UNKNOWN, Pfas.FREE)
# A lot that is free of it takes up what a tank kept, and a paper of the lot says nothing of that.
ON_RESIDUE = "Fluorine-free lot where PFAS stood, or may have"


@dataclass(frozen=True)
class Holding:
    """A tank on that day. Without parts it is empty, or nothing was noted by then."""

    tank: Tank
    held: Contents

    @property
    def parts(self) -> list[Part]:
        return self.held.parts

    @property
    def status(self) -> str:
        return pfas_words(self.held)

    @property
    def marked(self) -> bool:
        """Whether PFAS stands or stood here, or nobody can say that none did."""
        return bool({self.held.before, self.held.pfas} & {Pfas.CONTAINS, Pfas.UNKNOWN})


@dataclass(frozen=True)
class Stored:
    """What stood in a store on that day; m³."""

    store: Store
    volume: float


@dataclass(frozen=True)
class Total:
    """Of one PFAS status; m³. A tank counts where its lots do."""

    status: str
    volume: float
    tanks: int
    stores: int


@dataclass(frozen=True)
class Stock:
    """All tanks and stores of one owner that the reader may see."""

    owner: str
    holdings: tuple[Holding, ...]
    stored: tuple[Stored, ...] = ()

    def totals(self) -> list[Total]:
        """The worst first."""
        out = []
        for status in WORST_FIRST:
            stored = [one.volume for one in self.stored if one.store.lot.pfas == status]
            for label, marked in ((ON_RESIDUE, True), (str(status.label), False)):
                found = [
                    (holding.tank.pk, part.volume)
                    for holding in self.holdings
                    for part in holding.parts
                    if part.lot.pfas == status
                    and (status == Pfas.FREE and holding.marked) == marked
                ]
                if marked and not found:
                    continue
                kept = [] if marked else stored
                volume = sum(volume for _, volume in found) + sum(kept)
                tanks = len({tank for tank, _ in found})
                out.append(Total(label, volume, tanks, len(kept)))
        return out


def inventory(actor: Actor, on: date, site: Site | None = None) -> list[Stock]:
    """By owner, site, tank and store at the end of that day, in three queries; `site`: there alone.

    A tank that was retired by then is in it while the book has something in it or PFAS was there.
    """
    book = TankMovement.objects.in_force().filter(moved_on__lte=on).select_related("lot")
    rows = Tank.objects.visible_to(actor).select_related("site__owner")
    rows = rows.order_by("site__owner__name", "site__name", "tag", "pk")
    rows = rows if site is None else rows.filter(site=site)
    holdings = [
        Holding(tank, contents(tank, tank.movements.all(), on))
        for tank in rows.prefetch_related(Prefetch("movements", book))
        if tank.installed_on is None or tank.installed_on <= on
    ]
    tanks: dict[tuple[str, int], list[Holding]] = {}
    for holding in filter(lambda one: _stands(one, on), holdings):
        owner = holding.tank.site.owner
        tanks.setdefault((owner.name, owner.pk), []).append(holding)
    stores: dict[tuple[str, int], list[Stored]] = {}
    for one in in_stores(actor, on, site):
        owner = one.store.site.owner
        stores.setdefault((owner.name, owner.pk), []).append(one)
    return [
        Stock(who[0], tuple(tanks.get(who, ())), tuple(stores.get(who, ())))
        for who in sorted({*tanks, *stores})
    ]


def in_stores(actor: Actor, on: date, site: Site | None = None) -> list[Stored]:
    """Without those that were empty. What is left stands with the last movement until that day."""
    book = StoreMovement.objects.visible_to(actor).in_force().filter(moved_on__lte=on)
    book = book if site is None else book.filter(store__site=site)
    rows = book.select_related("store__site__owner", "store__lot").order_by(
        "store__site__name", *_BY_LOT, "moved_on", "position", "pk"
    )
    last = {row.store_id: row for row in rows}
    return [Stored(row.store, row.left) for row in last.values() if row.left > 0]


def _stands(holding: Holding, on: date) -> bool:
    retired = holding.tank.retired_on
    return retired is None or retired > on or bool(holding.parts) or holding.marked


HEAD = (
    "Owner", "Site", "Tank", "Retired on", "Product", "Batch", "Type", "Nominal, %",
    "PFAS of the lot", "Volume, L", "Share of the tank, %", "PFAS of the tank", "Remark",
    "In store as",
)  # fmt: skip


def table(stocks: Sequence[Stock]) -> list[tuple[str | float | None, ...]]:
    """One row a lot in a tank or a store; a tank without any has a row too."""
    out = []
    for stock in stocks:
        out += [row for holding in stock.holdings for row in _rows(stock, holding)]
        out += [_store_row(stock, one) for one in stock.stored]
    return out


def _lot_cells(lot: ConcentrateLot) -> tuple[str | float | None, ...]:
    return (
        lot.product, lot.batch, lot.get_kind_display(), float(lot.nominal_percent),
        lot.get_pfas_display(),
    )  # fmt: skip


def _litres(volume: float) -> float:
    return round(volume * 1000, 3)


def _store_row(stock: Stock, one: Stored) -> tuple[str | float | None, ...]:
    store = one.store
    place = (stock.owner, store.site.name, "", "")
    what = store.get_standing_display()
    return (*place, *_lot_cells(store.lot), _litres(one.volume), None, "", store.place, what)


def _rows(stock: Stock, holding: Holding) -> list[tuple[str | float | None, ...]]:
    tank = holding.tank
    retired = tank.retired_on.isoformat() if tank.retired_on else ""
    place = (stock.owner, tank.site.name, tank.tag, retired)
    last = (holding.status, " ".join(holding.held.remarks), "")
    if not holding.parts:
        empty = 0.0 if holding.held.noted else None
        return [(*place, "", "", "", None, "", empty, None, *last)]
    return [
        (
            *place,
            *_lot_cells(part.lot),
            _litres(part.volume),
            round(100 * part.share, 2),
            *last,
        )
        for part in holding.parts
    ]
