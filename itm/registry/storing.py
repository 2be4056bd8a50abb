"""Writes to the book of a store: what came in, was used, was taken away.

As with tanks: append-only, each write judged over the whole book, the row of the store the gate for
two at once. A movement of a tank that drew from a store or left waste here is written, put right
and withdrawn with that movement (`registry/drawing.py`).
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.withdrawing import struck
from itm.registry.models import ConcentrateLot, Site, Store, StoreMovement
from itm.registry.movements import place
from itm.registry.services import keep, require_in_use, require_own
from itm.registry.stored import shortage, store_book

Kind = StoreMovement.Kind


@transaction.atomic
def receive(
    *, actor: Actor, site: Site, lot: ConcentrateLot, standing: str, today: date,
    where: str = "", **values: Any,
) -> StoreMovement:  # fmt: skip
    """The first of a lot at the site makes its store. `today` on the clock of the site.

    Refused as `note` does.
    """
    require_own(actor, site, "note what is in store")
    store = store_for(site, lot, standing, by=actor, where=where)
    return note(actor=actor, store=store, today=today, kind=Kind.RECEIPT, **values)


def store_for(
    site: Site, lot: ConcentrateLot, standing: str, *, by: Actor, where: str = ""
) -> Store:
    """Refused foreign_lot."""
    if lot.owner_id != site.owner_id:
        raise Refused("foreign_lot", "This lot belongs to another owner.", "lot")
    found = Store.objects.filter(site=site, lot=lot, standing=standing).first()
    row = found or Store(site=site, lot=lot, standing=standing)
    if found is None or (where and where != row.place):
        keep(row, {"place": where}, by=by)
    return row


@transaction.atomic
def note(*, actor: Actor, store: Store, today: date, **values: Any) -> StoreMovement:
    """Refused day_ahead, more_than_in_store, not_valid."""
    require_own(actor, store, "note what is in store")
    require_in_use(store.site, "site")
    store = opened(store)
    row = write(StoreMovement(store=store), values, by=actor, today=today)
    settle([store])
    return row


@transaction.atomic
def correct(
    *, actor: Actor, movement: StoreMovement, because: str, today: date, at: datetime, **values: Any
) -> StoreMovement:  # fmt: skip
    """The right one takes the place of the wrong one, both at once."""
    require_own(actor, movement, "put a movement right")
    _require_alone(movement)
    store = opened(movement.store)
    old = strike(movement, because, by=actor, at=at)
    row = StoreMovement(store=store, kind=old.kind, replaces=old)
    write(row, values, by=actor, today=today, position=_kept_place(old, values["moved_on"]))
    settle([store])
    return row


@transaction.atomic
def withdraw(
    *, actor: Actor, movement: StoreMovement, because: str, at: datetime
) -> StoreMovement:  # fmt: skip
    """Refused because_missing, of_tank, more_than_in_store; Conflict when it was withdrawn."""
    require_own(actor, movement, "withdraw a movement")
    _require_alone(movement)
    store = opened(movement.store)
    row = strike(movement, because, by=actor, at=at)
    settle([store])
    return row


def _require_alone(movement: StoreMovement) -> None:
    if movement.tank_movement is not None and movement.withdrawn_at is None:
        raise Refused(
            "of_tank",
            f"It belongs to a movement of {movement.tank_movement.tank}: put that right or "
            "withdraw it, and this goes along.",
        )


def _kept_place(old: StoreMovement, on: date) -> int | None:
    return old.position if on == old.moved_on else None


# Steps of a write, inside the caller's transaction: opened, any number of write and strike, settled
# once over the whole book.


def opened(store: Store) -> Store:
    return Store.objects.select_for_update().select_related("site", "lot").get(pk=store.pk)


def write(
    row: StoreMovement, values: dict[str, Any], *, by: Actor, today: date,
    position: int | None = None,
) -> StoreMovement:  # fmt: skip
    """What can be said of one movement alone; `settle` follows. Refused day_ahead, not_valid."""
    on = values["moved_on"]
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "moved_on")
    row.position = place(row.store, on) if position is None else position
    row.left = 0.0  # until the book is settled
    return keep(row, values, by=by, verb="noted")


def strike(
    movement: StoreMovement, because: str, *, by: Actor, at: datetime
) -> StoreMovement:  # fmt: skip
    """Refused because_missing; Conflict when it was withdrawn already."""
    rows = StoreMovement.objects.select_related("store__site", "store__lot")
    return struck(rows.get(pk=movement.pk), because, by=by, at=at)


def settle(stores: Iterable[Store], place: str = "volume") -> None:
    """What is left after each movement, over the whole book. Refused more_than_in_store."""
    for store in stores:
        lines = store_book(store.movements.in_force())
        if sentence := shortage(lines):
            raise Refused("more_than_in_store", sentence, place)
        moved = []
        for movement, left in lines:
            if movement.left != left:
                movement.left = left
                moved.append(movement)
        # Past the history, on purpose: it says nothing that the movements do not.
        StoreMovement._base_manager.bulk_update(moved, ["left"], batch_size=500)


def require_supply(store: Store, site: Site, lot: ConcentrateLot) -> None:
    """Refused other_site, not_supply, other_lot."""
    if store.site_id != site.pk:
        raise Refused("other_site", "This store is at another site.", "store")
    if store.standing != Store.Standing.SUPPLY:
        raise Refused("not_supply", "Waste goes back into no tank.", "store")
    if store.lot_id != lot.pk:
        raise Refused(
            "other_lot", f"What is in this store is {store.lot}, not {lot}: choose that lot.", "lot"
        )
