"""A tank, and with it the systems that it feeds, goes over to a fluorine-free concentrate."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.db.models import Max, QuerySet

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.core.quantities import Quantity
from itm.registry.book import opened, settled
from itm.registry.contents import Contents, as_of
from itm.registry.finding import one
from itm.registry.models import (
    ChangeOver,
    ConcentrateLot,
    FoamSystem,
    Proportioner,
    Store,
    Tank,
    TankMovement,
)
from itm.registry.movements import judge, place, strike, write
from itm.registry.services import keep, require_in_use, require_own

Kind, Pfas = TankMovement.Kind, ConcentrateLot.Pfas
REASON = "changed over to a fluorine-free concentrate"


@dataclass(frozen=True)
class New:
    """What was done on the day, as the form gives it."""

    changed_on: date
    lot: ConcentrateLot
    volume: Quantity
    cleaned: str
    papers: str
    rinses: int | None = None
    rinse_volume: Quantity | None = None  # of all rinses together
    residue_mg_l: Decimal | None = None
    drained: Quantity | None = None  # where it was measured
    as_waste: bool = False  # what was drained waits at the site to be taken away
    store: Store | None = None  # what was filled in came out of it


@transaction.atomic
def change_over(*, actor: Actor, tank: Tank, new: New, today: date) -> list[ChangeOver]:
    """Drain, cleaning and fill as two movements, and one changeover for each system fed. What they
    draw from a store or leave in one is written by `drawing.change_over`, which doors call.

    `today` on the clock of the site. Refused not_free, nothing_to_change, feeds_nothing, and as
    `movements.write` and `movements.judge` do.
    """
    require_own(actor, tank, "change a system over")
    require_in_use(tank, "tank")
    tank, before = opened(tank)
    if new.lot.pfas != Pfas.FREE:
        raise Refused(
            "not_free", f"{new.lot} is not fluorine-free by its certificate: choose another.", "lot"
        )
    old = _worst_of(as_of(before, new.changed_on))
    if old is None:
        raise Refused(
            "nothing_to_change",
            "By what is noted nothing that contains PFAS, or of which that is not known, stood in "
            "the tank on this day. Note a drain and a fill instead.",
            "changed_on",
        )
    systems = FoamSystem.objects.filter(
        proportioners__tank=tank, proportioners__retired_on=None, retired_on=None
    ).distinct()
    if not systems:
        raise Refused("feeds_nothing", "No proportioner in use draws from this tank.")
    day = {"moved_on": new.changed_on, "reason": REASON}
    drain = TankMovement(tank=tank, kind=Kind.DRAIN, position=place(tank, new.changed_on))
    names = ("cleaned", "rinses", "rinse_volume", "residue_mg_l")
    cleaned = {name: getattr(new, name) for name in names}
    with _named("drained"):
        write(drain, {**day, **cleaned, "volume": new.drained}, by=actor, today=today)
    fill = TankMovement(tank=tank, kind=Kind.FILL, position=place(tank, new.changed_on))
    write(fill, {**day, "lot": new.lot, "volume": new.volume}, by=actor, today=today)
    judge([drain, fill], before)
    return [
        keep(
            ChangeOver(
                tank=tank, system=system, drain=drain, fill=fill, changed_on=new.changed_on,
                from_lot=old, to_lot=new.lot, noted_by=actor.person,
            ),
            {"papers": new.papers.strip()}, by=actor, verb="noted",
        )
        for system in systems
    ]  # fmt: skip


@transaction.atomic
def withdraw_changeover(
    *, actor: Actor, changeover: ChangeOver, because: str, at: datetime
) -> ChangeOver:  # fmt: skip
    """It never took place, nor did its drain and its fill; the other systems of the tank go along.

    Refused as `movements.withdraw` does; Conflict when it was withdrawn already.
    """
    require_own(actor, changeover, "withdraw a changeover")
    tank, before = opened(changeover.tank)
    rows = list(ChangeOver.objects.filter(fill=changeover.fill, withdrawn_because=""))
    if not rows:
        raise Conflict("This changeover was withdrawn already.")
    strike(changeover.fill, because, by=actor, at=at)
    strike(changeover.drain, because, by=actor, at=at)
    settled(tank, before)
    for row in rows:
        keep(row, {"withdrawn_because": because.strip()}, by=actor, verb="withdrawn")
    return next(row for row in rows if row.fill_id == changeover.fill_id)


@contextmanager
def _named(volume: str) -> Iterator[None]:
    """Two volumes stand on the form: a refusal of one says which."""
    try:
        yield
    except Refused as refused:
        refused.place = volume if refused.place == "volume" else refused.place
        raise


def _worst_of(held: Contents) -> ConcentrateLot | None:
    """The lot that most of the tank was, of those that are not fluorine-free."""
    found = [part.lot for part in held.parts if part.lot.pfas != Pfas.FREE]
    return found[0] if found else None


# Reading ------------------------------------------------------------------------------------------


def changeovers_of(actor: Actor, system: FoamSystem) -> QuerySet[ChangeOver]:
    """The newest first, those withdrawn too."""
    rows = ChangeOver.objects.visible_to(actor).filter(system=system)
    return rows.select_related("tank", "from_lot", "to_lot", "drain")


def changeover(actor: Actor, key: UUID) -> ChangeOver:
    rows = ChangeOver.objects.visible_to(actor)
    related = ("tank__site__owner", "system", "from_lot", "to_lot", "drain", "fill")
    return one(rows.select_related(*related), "changeover", key)


def changed_over_on(proportioner: Proportioner) -> date | None:
    """The day from which its baselines count; none where its concentrate stayed of one kind. Who
    reads the proportioner reads this of it."""
    rows = ChangeOver.objects.filter(
        system=proportioner.system_id, tank=proportioner.tank_id, withdrawn_because=""
    )
    return rows.aggregate(last=Max("changed_on"))["last"]


def may_change_over(held: Contents) -> bool:
    return _worst_of(held) is not None
