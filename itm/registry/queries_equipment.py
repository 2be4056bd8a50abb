"""What a person may read of equipment: valves, strainers and the rest, and where things stood."""

from typing import Any
from uuid import UUID

from django.db.models import Count, F, Q, QuerySet

from itm.accounts.actor import Actor
from itm.registry.finding import Wanted, arranged, one
from itm.registry.models import (
    Equipment,
    FoamSystem,
    Proportioner,
    Relocation,
    Site,
    Tank,
)
from itm.registry.models.equipment import VARIETIES
from itm.registry.queries import systems_to_choose, tanks_to_choose
from itm.registry.restoring import restoration_order, untouched

EQUIPMENT_KINDS, POSITIONS = Equipment.Kind.choices, Equipment.Position.choices
VARIETY_CHOICES = [one for of_kind in VARIETIES.values() for one in of_kind.items()]
EQUIPMENT_SORTS = {
    "tag": "tag",
    "site": "site__name",
    "kind": "kind",
    "place": "place",
    "position": "normal_position",
    "installed_on": "installed_on",
}
EQUIPMENT_NARROWS = {"kind": "kind", "site": "site__key"}


def equipment_list(actor: Actor, wanted: Wanted) -> QuerySet[Equipment]:
    rows = Equipment.objects.visible_to(actor).select_related("site", "system", "tank")
    find_in = ("tag", "name", "place", "maker", "model", "serial_number")
    narrows = EQUIPMENT_NARROWS
    return arranged(rows, wanted, find_in=find_in, sorts=EQUIPMENT_SORTS, narrows=narrows)


def equipment_of(actor: Actor, place: FoamSystem | Tank) -> list[Equipment]:
    """What stands there, kind by kind in the order of the walk back; what has left goes last."""
    at = {FoamSystem: "system", Tank: "tank"}[type(place)]
    rows = Equipment.objects.visible_to(actor).filter(**{at: place})
    rows = rows.order_by(F("walk_order").asc(nulls_last=True), "tag", "pk")
    kinds = Equipment.Kind.values
    return sorted(rows, key=lambda row: (row.retired_on is not None, kinds.index(row.kind)))


def equipment_counts(actor: Actor, site: Site) -> list[tuple[str, str, int]]:
    """Kind, its name and how many rows of it are in use on the site; kinds without any are left
    out."""
    rows = Equipment.objects.visible_to(actor).filter(site=site, retired_on=None)
    counted = dict(rows.order_by().values_list("kind").annotate(Count("pk")))
    return [(k, label, counted[k]) for k, label in Equipment.Kind.choices if k in counted]


def equipment(actor: Actor, key: UUID) -> Equipment:
    rows = Equipment.objects.visible_to(actor).select_related("site__owner", "system", "tank")
    return one(rows, "equipment", key)


def valves_at(system: FoamSystem, tank: Tank | None) -> list[Equipment]:
    """Valves in use of a system and of the tank it is fed from, in the order of the walk back.

    Who reads the system reads its valves.
    """
    at = Q(system=system) | Q(tank=tank) if tank is not None else Q(system=system)
    rows = Equipment.objects.filter(at, kind=Equipment.Kind.VALVE, retired_on=None)
    return list(rows.order_by(F("walk_order").asc(nulls_last=True), "tag", "pk"))


def lines_to_put_back(proportioner: Proportioner) -> tuple[list[str], bool]:
    """What is put back after a test, and whether somebody wrote it for this proportioner.

    Otherwise it follows the valves of the register, so that a new valve is in the next test's list.
    """
    own = proportioner.restoration_order
    if own and not untouched(own):
        return own, True
    tank = proportioner.tank
    valves = valves_at(proportioner.system, tank)
    return restoration_order(tank.kind, proportioner.kind, valves), False


def places_to_choose(site: Site) -> list[tuple[str, str, list[Any]]]:
    """Systems and tanks of the site that are in use: column, name of the group, rows."""
    systems, tanks = systems_to_choose(site), tanks_to_choose(site)
    return [("system", "Foam systems", list(systems)), ("tank", "Tanks", list(tanks))]


def moves_of(actor: Actor, row: Proportioner | Equipment | FoamSystem | Tank) -> list[Relocation]:
    """Moves of a thing, or to and from a place, the newest first."""
    name = {Proportioner: "proportioner", Equipment: "equipment", FoamSystem: "system"}
    at = name.get(type(row), "tank")
    if isinstance(row, FoamSystem | Tank):
        which = Q(**{f"from_{at}": row}) | Q(**{f"to_{at}": row})
    else:
        which = Q(**{at: row})
    rows = Relocation.objects.visible_to(actor).filter(which)
    return list(
        rows.select_related(
            "proportioner", "equipment", "from_system", "to_system", "from_tank", "to_tank"
        )
    )


def move(actor: Actor, key: UUID) -> Relocation:
    rows = Relocation.objects.visible_to(actor).select_related(
        "site__owner", "proportioner__system__site", "proportioner__tank",
        "equipment__site", "equipment__system", "equipment__tank",
        "from_system", "to_system", "from_tank", "to_tank",
    )  # fmt: skip
    return one(rows, "move", key)
