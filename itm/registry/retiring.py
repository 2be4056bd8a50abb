"""Out of use from a day on, and back again: equipment is retired, never deleted."""

from datetime import date

from django.db import transaction

from itm.accounts.actor import Actor, leads
from itm.core.errors import Refused
from itm.core.figures import day
from itm.registry.models import Equipment, FoamSystem, Instrument, Proportioner, Site, Tank
from itm.registry.queries import may_change
from itm.registry.queries_stores import not_empty
from itm.registry.services import Retirable, keep, require_in_use, require_keeper, require_own

Place = Site | FoamSystem | Tank


def require_retirer(actor: Actor, row: Retirable, what: str) -> None:
    """What leaves use takes its duties along, so it is no matter of a member; an instrument takes
    none."""
    if isinstance(row, Instrument):
        require_own(actor, row, what)
    else:
        require_keeper(actor, row, what)


def may_retire(actor: Actor, row: Retirable) -> bool:
    return may_change(actor, row) and (isinstance(row, Instrument) or leads(actor))


@transaction.atomic
def retire(*, actor: Actor, row: Retirable, on: date, today: date) -> Retirable:
    """Out of use from that day; it stays readable with all its history. Never deletes.

    The equipment of a system, tank or site leaves with it: nobody retires forty valves one by one.
    `today` on the clock of the site. Refused day_ahead, before_commissioning, still_in_use.
    """
    require_retirer(actor, row, "retire this")
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "retired_on")
    if isinstance(row, FoamSystem) and on < row.commissioned_on:
        raise Refused(
            "before_commissioning",
            f"The system was commissioned on {day(row.commissioned_on)}, after that day.",
            "retired_on",
        )
    if left := _hanging_on(row):
        raise Refused("still_in_use", f"Still in use here: {', '.join(left)}. Retire that first.")
    if isinstance(row, Place):
        for one in row.equipment.filter(retired_on=None):
            _retire_with_place(actor, one, on)
    return keep(row, {"retired_on": on}, by=actor, verb="retired")


def _hanging_on(row: Retirable) -> list[str]:
    """What would be left in use without the thing it hangs on."""
    if isinstance(row, Site):
        systems = row.systems.filter(retired_on=None)
        tanks = row.tanks.filter(retired_on=None)
        return [*map(str, systems), *map(str, tanks), *map(str, not_empty(row.stores.all()))]
    if isinstance(row, FoamSystem | Tank):
        return [str(device) for device in row.proportioners.filter(retired_on=None)]
    return []


def leaves_along(row: Retirable) -> int:
    """How many rows of equipment would be retired with it."""
    return row.equipment.filter(retired_on=None).count() if isinstance(row, Place) else 0


def out_with(row: Retirable) -> list[tuple[Retirable, date]]:
    """What `take_back` of this row would bring back, each with the day since which it is out."""
    rows: list[Retirable] = [row]
    if isinstance(row, Place):
        rows += _with_place(row)
    return [(one, one.retired_on) for one in rows if one.retired_on is not None]


def _with_place(row: Place) -> list[Equipment]:
    """A site's own, not that of its systems."""
    left = row.equipment.filter(retired_with_place=True)
    return [one for one in left if one.stands_at == row]


def _retire_with_place(actor: Actor, row: Equipment, on: date) -> None:
    if row.installed_on is not None and on < row.installed_on:
        raise Refused(
            "before_installing",
            f"{row} stands there since {day(row.installed_on)}, after that day.",
            "retired_on",
        )
    keep(row, {"retired_on": on, "retired_with_place": True}, by=actor, verb="retired")


@transaction.atomic
def take_back(*, actor: Actor, row: Retirable) -> Retirable:
    """Undo of `retire`, with the equipment that left with it; what had left before stays away.

    Refused retired when what it hangs on is retired, not_valid when a tag was given away in the
    meantime. May run twice.
    """
    require_retirer(actor, row, "take this back into use")
    if isinstance(row, FoamSystem | Tank | Equipment):
        require_in_use(row.site, "site")
    if isinstance(row, Proportioner | Equipment) and row.system is not None:
        require_in_use(row.system, "system")
    if isinstance(row, Proportioner | Equipment) and row.tank is not None:
        require_in_use(row.tank, "tank")
    if isinstance(row, Equipment):
        return _bring_back(actor, row)
    keep(row, {"retired_on": None}, by=actor, verb="taken back")
    if isinstance(row, Place):
        for one in _with_place(row):
            _bring_back(actor, one)
    return row


def _bring_back(actor: Actor, row: Equipment) -> Equipment:
    values = {"retired_on": None, "retired_with_place": False}
    try:
        return keep(row, values, by=actor, verb="taken back")
    except Refused as refusal:
        raise Refused(refusal.code, f"{row}: {refusal.sentence}", refusal.place) from refusal
