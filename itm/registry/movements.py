"""Writes to the book of a tank: note a movement, put a wrong one right, withdraw it.

Append-only: a wrong movement stays with its reason. Each write is judged over the whole book, since
a backdated one moves every later day. The row of the tank is the gate for two at once.
"""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Max, Min, Q

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.figures import day
from itm.core.withdrawing import struck
from itm.registry.book import opened, settled
from itm.registry.contents import MIXED, Line, differences
from itm.registry.models import ChangeOver, Store, Tank, TankMovement
from itm.registry.services import keep, require_in_use, require_own

Kind = TankMovement.Kind


@transaction.atomic
def move(
    *, actor: Actor, tank: Tank, today: date, first_of_day: bool = False, **values: Any
) -> TankMovement:  # fmt: skip
    """`today` on the clock of the site. `first_of_day` puts it before what that day holds already.

    Refused as `write` and `judge` do.
    """
    require_own(actor, tank, "note what goes into a tank or out of it")
    require_in_use(tank, "tank")
    tank, before = opened(tank)
    row = TankMovement(tank=tank, position=place(tank, values["moved_on"], first=first_of_day))
    write(row, values, by=actor, today=today)
    judge([row], before)
    return row


@transaction.atomic
def correct(
    *, actor: Actor, movement: TankMovement, because: str, today: date, at: datetime, **values: Any
) -> TankMovement:  # fmt: skip
    """The right one takes the place of the wrong one, both at once: alone, the withdrawal of a
    fill that was drawn from later would be refused. Refused as `move` and `withdraw` do."""
    require_own(actor, movement, "put a movement right")
    _require_alone(movement)
    tank, before = opened(movement.tank)
    old = strike(movement, because, by=actor, at=at)
    same_day = values["moved_on"] == old.moved_on
    position = old.position if same_day else place(tank, values["moved_on"])
    row = TankMovement(tank=tank, kind=old.kind, position=position, replaces=old)
    write(row, values, by=actor, today=today)
    judge([row], before)
    return row


@transaction.atomic
def withdraw(
    *, actor: Actor, movement: TankMovement, because: str, at: datetime
) -> TankMovement:  # fmt: skip
    """It counts for nothing from now on and stays to be read.

    Refused because_missing, of_changeover, and what `book.refuse_new_problems` refuses; Conflict
    when it was withdrawn already.
    """
    require_own(actor, movement, "withdraw a movement")
    _require_alone(movement)
    tank, before = opened(movement.tank)
    row = strike(movement, because, by=actor, at=at)
    settled(tank, before)
    return row


def _require_alone(movement: TankMovement) -> None:
    held = ChangeOver.objects.filter(Q(drain=movement) | Q(fill=movement), withdrawn_because="")
    if held.exists():
        raise Refused(
            "of_changeover",
            "It belongs to a changeover: withdraw that, which takes its drain and its fill along, "
            "and note it anew.",
        )


# Steps of a write, inside the caller's transaction: `book.opened`, any number of write and strike,
# judged once over the whole book.


def place(book: Tank | Store, on: date, *, first: bool = False) -> int:
    """Where in the day a new movement stands: after all others, or before them."""
    there = book.movements.filter(moved_on=on)
    ends = there.aggregate(low=Min("position"), high=Max("position"))
    if ends["low"] is None:
        return 0
    return int(ends["low"] - 1 if first else ends["high"] + 1)


def write(row: TankMovement, values: dict[str, Any], *, by: Actor, today: date) -> TankMovement:
    """What can be said of one movement alone. Refused day_ahead, before_installed, more_than_tank,
    foreign_lot, not_valid."""
    tank, on = row.tank, values["moved_on"]
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "moved_on")
    if tank.installed_on is not None and on < tank.installed_on:
        raise Refused(
            "before_installed",
            f"{tank} was installed on {day(tank.installed_on)}, after that day.",
            "moved_on",
        )
    volume, lot = values.get("volume"), values.get("lot")
    if volume is not None and volume.si > tank.capacity * (1 + 1e-9):
        raise Refused(
            "more_than_tank",
            f"The tank holds {tank.capacity_typed}; more does not go in or come out at once.",
            "volume",
        )
    if lot is not None and lot.owner_id != tank.site.owner_id:
        raise Refused("foreign_lot", "This lot belongs to another owner.", "lot")
    return keep(row, values, by=by, verb="noted")


def judge(rows: list[TankMovement], before: list[Line]) -> None:
    """The whole book with the new rows in it, which closes it. Refused not_needed, and what
    `book.refuse_new_problems` refuses."""
    # The field where the matter can be mended: a name answers for a mixture, all else is volume.
    try:
        after = settled(rows[0].tank, before, "volume")
    except Refused as refused:
        refused.place = "allowed_by" if refused.code == MIXED else "volume"
        raise
    new = {row.pk for row in rows}
    for line in after:
        row = line.movement
        if row.pk in new and row.allowed_by and row.lot and not differences(line.held, row.lot):
            raise Refused(
                "not_needed",
                "Nothing is mixed here that would need leave: leave the name and the reason empty.",
                "allowed_by",
            )


def strike(movement: TankMovement, because: str, *, by: Actor, at: datetime) -> TankMovement:
    """Refused because_missing; Conflict when it was withdrawn already."""
    row = TankMovement.objects.select_related("tank__site", "lot").get(pk=movement.pk)
    row.held = row.left = row.excess = None
    return struck(row, because, by=by, at=at)
