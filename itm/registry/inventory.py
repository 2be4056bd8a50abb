"""How much concentrate stands where on a day, by its PFAS status: the owner's stock in tanks."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch

from itm.accounts.actor import Actor
from itm.registry.contents import Contents, Part, contents, pfas_words
from itm.registry.models import ConcentrateLot, Tank, TankMovement

Pfas = ConcentrateLot.Pfas
WORST_FIRST = (Pfas.CONTAINS, Pfas.UNKNOWN, Pfas.FREE)


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


@dataclass(frozen=True)
class Stock:
    """All tanks of one owner that the reader may see."""

    owner: str
    holdings: tuple[Holding, ...]

    def totals(self) -> list[tuple[str, float, int]]:
        """Status, m³ and number of tanks, the worst first; a tank counts where its lots do."""
        out = []
        for status in WORST_FIRST:
            found = [
                (holding.tank.pk, part.volume)
                for holding in self.holdings
                for part in holding.parts
                if part.lot.pfas == status
            ]
            volume = sum(volume for _, volume in found)
            out.append((str(status.label), volume, len({tank for tank, _ in found})))
        return out


def inventory(actor: Actor, on: date) -> list[Stock]:
    """By owner, site and tank at the end of that day, in two queries.

    A tank that was retired by then is in it while the book has something in it or PFAS was there.
    """
    book = TankMovement.objects.in_force().filter(moved_on__lte=on).select_related("lot")
    rows = Tank.objects.visible_to(actor).select_related("site__owner")
    rows = rows.order_by("site__owner__name", "site__name", "tag", "pk")
    holdings = [
        Holding(tank, contents(tank, tank.movements.all(), on))
        for tank in rows.prefetch_related(Prefetch("movements", book))
        if tank.installed_on is None or tank.installed_on <= on
    ]
    by_owner: dict[tuple[str, int], list[Holding]] = {}
    for holding in filter(lambda one: _stands(one, on), holdings):
        owner = holding.tank.site.owner
        by_owner.setdefault((owner.name, owner.pk), []).append(holding)
    return [Stock(name, tuple(found)) for (name, _), found in by_owner.items()]


def _stands(holding: Holding, on: date) -> bool:
    retired = holding.tank.retired_on
    marked = holding.held.before in (Pfas.CONTAINS, Pfas.UNKNOWN)
    return retired is None or retired > on or bool(holding.parts) or marked


HEAD = (
    "Owner", "Site", "Tank", "Retired on", "Product", "Batch", "Type", "Nominal, %",
    "PFAS of the lot", "Volume, L", "Share of the tank, %", "PFAS of the tank", "Remark",
)  # fmt: skip


def table(stocks: Sequence[Stock]) -> list[tuple[str | float | None, ...]]:
    """One row a lot in a tank; a tank without any has a row too."""
    return [row for stock in stocks for holding in stock.holdings for row in _rows(stock, holding)]


def _rows(stock: Stock, holding: Holding) -> list[tuple[str | float | None, ...]]:
    tank = holding.tank
    retired = tank.retired_on.isoformat() if tank.retired_on else ""
    place = (stock.owner, tank.site.name, tank.tag, retired)
    last = (holding.status, " ".join(holding.held.remarks))
    if not holding.parts:
        empty = 0.0 if holding.held.noted else None
        return [(*place, "", "", "", None, "", empty, None, *last)]
    return [
        (
            *place, part.lot.product, part.lot.batch, part.lot.get_kind_display(),
            float(part.lot.nominal_percent), part.lot.get_pfas_display(),
            round(part.volume * 1000, 3), round(100 * part.share, 2), *last,
        )
        for part in holding.parts
    ]  # fmt: skip
