"""A proportioner or a piece of equipment comes to another system or tank of its site.

The move is kept as a row beside the thing, so that a page can say where it stood in a year whose
records speak of another system. What was entered at a wrong place never moved: that is put right
without one, and the history keeps it.
"""

from datetime import date

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.figures import day
from itm.registry import criteria
from itm.registry.models import Equipment, FoamSystem, Proportioner, Relocation, Tank
from itm.registry.services import keep, require_in_use, require_own

Movable = Proportioner | Equipment


@transaction.atomic
def relocate(
    *, actor: Actor, row: Movable, system: FoamSystem | None, tank: Tank | None,
    on: date | None, today: date, reason: str = "",
) -> Movable:  # fmt: skip
    """To the system or tank (a proportioner: to both); without a day it is a slip put right.

    `today` on the clock of the site. Refused retired, other_site, same_place, place_missing,
    day_ahead, before_installing, moves_out_of_order, and what the criterion of the system refuses.
    """
    require_own(actor, row, "move this")
    require_in_use(row, "thing")
    site = row.system.site if isinstance(row, Proportioner) else row.site
    for name, place in (("system", system), ("tank", tank)):
        if place is None and isinstance(row, Proportioner):
            raise Refused("place_missing", f"A proportioner has a {name}.", name)
        if place is not None and place.site_id != site.pk:
            raise Refused("other_site", f"This {name} stands at another site.", name)
        if place is not None and place != getattr(row, name):
            require_in_use(place, name)
    if isinstance(row, Proportioner) and system is not None:
        criteria.require_named(system.criterion, row.nominal_percent, "system")
    if (system, tank) == (row.system, row.tank):
        raise Refused("same_place", "It stands there already.")
    if on is not None:
        _check_day(row, on, today)
        move = Relocation(
            site=site, from_system=row.system, from_tank=row.tank, moved_on=on,
            noted_by=actor.person, **_thing(row),
        )  # fmt: skip
        values = {"to_system": system, "to_tank": tank, "reason": reason}
        keep(move, values, by=actor, verb="moved")
    return keep(row, {"system": system, "tank": tank}, by=actor, verb="moved" if on else "")


def _thing(row: Movable) -> dict[str, Movable]:
    return {"proportioner" if isinstance(row, Proportioner) else "equipment": row}


def _check_day(row: Movable, on: date, today: date) -> None:
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "moved_on")
    if isinstance(row, Equipment) and row.installed_on is not None and on < row.installed_on:
        raise Refused(
            "before_installing",
            f"It was installed on {day(row.installed_on)}, after that day.",
            "moved_on",
        )
    last = last_move(row)
    if last is not None and on < last.moved_on:
        raise Refused(
            "moves_out_of_order",
            f"It came to {last.end} on {day(last.moved_on)}, after that day.",
            "moved_on",
        )


def last_move(row: Movable) -> Relocation | None:
    return Relocation.objects.filter(taken_back_on=None, **_thing(row)).first()


def first_system(row: Proportioner) -> FoamSystem:
    """The system that it served first: its history counts from the commissioning of that one."""
    moves = [move for move in row.relocations.all() if move.taken_back_on is None]
    first = moves[-1].from_system if moves else None
    return row.system if first is None else first


@transaction.atomic
def take_move_back(*, actor: Actor, move: Relocation, today: date) -> Movable:
    """Undo of the last move: the thing stands where it stood, and the move says it was none.

    Refused retired, not_last_move. May run twice.
    """
    row = move.thing
    require_own(actor, row, "take a move back")
    if move.taken_back_on is not None:
        return row
    require_in_use(row, "thing")
    if last_move(row) != move or (row.system, row.tank) != (move.to_system, move.to_tank):
        raise Refused(
            "not_last_move", "It was moved or put right since; only the last move is taken back."
        )
    for name, place in (("system", move.from_system), ("tank", move.from_tank)):
        if place is not None:
            require_in_use(place, name)
    keep(move, {"taken_back_on": today}, by=actor, verb="taken back")
    return keep(row, {"system": move.from_system, "tank": move.from_tank}, by=actor)
