"""Movements of a tank that draw from a store, or leave their waste in one.

Both books are written together: a fill that drew from the drums takes them along when it is put
right or withdrawn.
"""

from datetime import date, datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.quantities import Quantity
from itm.registry import changing_over, movements, storing
from itm.registry.book import lines_of
from itm.registry.contents import amount
from itm.registry.models import ChangeOver, Store, StoreMovement, Tank, TankMovement

Kind, Standing = StoreMovement.Kind, Store.Standing


@transaction.atomic
def move(
    *, actor: Actor, tank: Tank, today: date, store: Store | None = None, as_waste: bool = False,
    **values: Any,
) -> TankMovement:  # fmt: skip
    """`store`: what goes in comes out of it. `as_waste`: what comes out waits at the site to be
    taken away. Refused as `movements.move` and `storing` do; nothing_known."""
    row = movements.move(actor=actor, tank=tank, today=today, **values)
    storing.settle(_draw(row, store, as_waste=as_waste, by=actor, today=today))
    return row


@transaction.atomic
def correct(
    *, actor: Actor, movement: TankMovement, because: str, today: date, at: datetime,
    store: Store | None = None, as_waste: bool = False, **values: Any,
) -> TankMovement:  # fmt: skip
    """Refused as `movements.correct` and `move` do."""
    row = movements.correct(
        actor=actor, movement=movement, because=because, today=today, at=at, **values
    )
    touched = _let_go(movement, because, by=actor, at=at)
    touched |= _draw(row, store, as_waste=as_waste, by=actor, today=today)
    storing.settle(touched)
    return row


@transaction.atomic
def withdraw(
    *, actor: Actor, movement: TankMovement, because: str, at: datetime
) -> TankMovement:  # fmt: skip
    """Refused as `movements.withdraw` does; more_than_in_store where its waste was taken away."""
    row = movements.withdraw(actor=actor, movement=movement, because=because, at=at)
    storing.settle(_let_go(movement, because, by=actor, at=at), "because")
    return row


@transaction.atomic
def change_over(
    *, actor: Actor, tank: Tank, new: changing_over.New, today: date
) -> list[ChangeOver]:  # fmt: skip
    """Refused as `changing_over.change_over` and `move` do."""
    rows = changing_over.change_over(actor=actor, tank=tank, new=new, today=today)
    drain, fill = rows[0].drain, rows[0].fill
    touched = _draw(drain, None, as_waste=new.as_waste, by=actor, today=today)
    touched |= _draw(fill, new.store, as_waste=False, by=actor, today=today)
    storing.settle(touched)
    return rows


@transaction.atomic
def withdraw_changeover(
    *, actor: Actor, changeover: ChangeOver, because: str, at: datetime
) -> ChangeOver:  # fmt: skip
    """Refused as `changing_over.withdraw_changeover` and `withdraw` do."""
    row = changing_over.withdraw_changeover(
        actor=actor, changeover=changeover, because=because, at=at
    )
    touched = _let_go(row.drain, because, by=actor, at=at)
    touched |= _let_go(row.fill, because, by=actor, at=at)
    storing.settle(touched, "because")
    return row


def _draw(
    row: TankMovement, store: Store | None, *, as_waste: bool, by: Actor, today: date
) -> set[Store]:
    if store is not None and row.lot is not None:
        storing.require_supply(store, row.tank.site, row.lot)
        volume = Quantity(row.volume or 0.0, row.volume_typed)
        _book(row, storing.opened(store), Kind.USE, volume, by=by, today=today)
        return {store}
    return _leave_waste(row, by=by, today=today) if as_waste else set()


def _leave_waste(row: TankMovement, *, by: Actor, today: date) -> set[Store]:
    """Of every lot that was in the tank its share: after a recall the waste has to be found too."""
    held = next(line.held for line in lines_of(row.tank) if line.movement.pk == row.pk)
    if not held.parts:
        raise Refused(
            "nothing_known",
            "By what is noted nothing stood in the tank then, so it is not known what this waste "
            "is: leave this out, and note the waste by its lot on the page of the site.",
            "as_waste",
        )
    volume = row.volume or held.volume
    touched = set()
    for part in held.parts:
        share = volume * part.share
        typed = row.volume_typed if part.share == 1 and row.volume else ""
        quantity = Quantity(share, typed or amount(share, row.tank.capacity_typed))
        store = storing.store_for(row.tank.site, part.lot, Standing.WASTE, by=by)
        _book(row, storing.opened(store), Kind.RECEIPT, quantity, by=by, today=today)
        touched.add(store)
    return touched


def _book(
    row: TankMovement, store: Store, kind: str, volume: Quantity, *, by: Actor, today: date
) -> None:
    values = {"kind": kind, "moved_on": row.moved_on, "volume": volume}
    storing.write(StoreMovement(store=store, tank_movement=row), values, by=by, today=today)


def _let_go(movement: TankMovement, because: str, *, by: Actor, at: datetime) -> set[Store]:
    touched = set()
    for one in movement.in_store.filter(withdrawn_at=None).select_related("store"):
        touched.add(storing.opened(one.store))
        storing.strike(one, because, by=by, at=at)
    return touched
