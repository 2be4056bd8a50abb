"""What duties can hang on at a site, in the words of programmes, and since when it serves."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch, Q

from itm.core.clock import add_months
from itm.registry.contents import ledger
from itm.registry.models import (
    ConcentrateLot,
    Equipment,
    FoamSystem,
    Proportioner,
    Relocation,
    Site,
    Tank,
)
from itm.registry.relocating import first_system
from itm.schedule import applies
from itm.schedule.applies import Answers

# Concentrate older than this is past its usual life: common practice, no published source.
OLD_MONTHS = 120

Hook = tuple[str, int]  # link of a duty and primary key; the site has no link


@dataclass(frozen=True)
class Thing:
    """`begun` is none for what protects nothing yet: nothing is due on it."""

    row: Proportioner | Tank | Equipment | FoamSystem | Site
    link: str
    answers: Answers
    begun: date | None
    systems: frozenset[int] = frozenset()  # whose events touch it
    tanks: frozenset[int] = frozenset()
    old_on: date | None = None  # the day its concentrate is past its life

    @property
    def hook(self) -> Hook:
        return (self.link, self.row.pk)


@dataclass(frozen=True)
class Layout:
    """What stands at a site and is in use, read once."""

    site: Site
    systems: list[FoamSystem]
    proportioners: list[Proportioner]
    tanks: list[Tank]
    equipment: list[Equipment]
    fed: dict[int, list[Proportioner]]  # by tank


def layouts(sites: Sequence[Site]) -> list[Layout]:
    """Of all the sites in a fixed number of queries."""
    keys = [site.pk for site in sites]
    here = Q(site__in=keys, retired_on=None)
    out = {site.pk: Layout(site, [], [], [], [], {}) for site in sites}
    for system in FoamSystem.objects.filter(here):
        out[system.site_id].systems.append(system)
    devices = Proportioner.objects.filter(
        system__site__in=keys, system__retired_on=None, retired_on=None
    )
    came = Prefetch("relocations", Relocation.objects.select_related("from_system"))
    for device in devices.select_related("system", "tank").prefetch_related(came):
        at = out[device.system.site_id]
        at.proportioners.append(device)
        at.fed.setdefault(device.tank_id, []).append(device)
    for tank in Tank.objects.filter(here).prefetch_related("movements__lot"):
        out[tank.site_id].tanks.append(tank)
    for row in Equipment.objects.filter(here).select_related("system", "tank", "site"):
        out[row.site_id].equipment.append(row)
    return [out[site.pk] for site in sites]


def things_of(sites: Sequence[Site]) -> list[list[Thing]]:
    """Everything in use at each site; nothing at one that is retired."""
    return [[] if at.site.retired_on else things_at(at) for at in layouts(sites)]


def things_at(at: Layout) -> list[Thing]:
    tanks = {tank.pk: tank_thing(tank, at.fed.get(tank.pk, [])) for tank in at.tanks}
    devices = [proportioner_thing(row) for row in at.proportioners]
    out = [*devices, *tanks.values()]
    out += [system_thing(row, at.proportioners) for row in at.systems]
    out += [equipment_thing(row, tanks, at.proportioners) for row in at.equipment]
    return [*out, site_thing(at.site, at, tanks.values())]


def proportioner_thing(row: Proportioner) -> Thing:
    return Thing(
        row,
        "proportioner",
        applies.of_proportioner(row.kind),
        first_counts_from(row),
        frozenset({row.system_id}),
        frozenset({row.tank_id}),
    )


def first_counts_from(row: Proportioner) -> date:
    """The day of commissioning, or of the last test that older papers show.

    A proportioner that came from another system brings its history with it.
    """
    commissioned = first_system(row).commissioned_on
    return max(commissioned, row.earlier_test_on or commissioned)


def tank_thing(row: Tank, fed: Iterable[Proportioner]) -> Thing:
    """A tank without a proportioner protects nothing yet."""
    devices = list(fed)
    first = min((device.system.commissioned_on for device in devices), default=None)
    book = ledger(row, row.movements.all())
    lots = [lot for lot, _ in book[-1].holds.volumes] if book else []
    ends = [
        lot.expires_on or (add_months(lot.made_on, OLD_MONTHS) if lot.made_on else None)
        for lot in lots
    ]
    return Thing(
        row,
        "tank",
        applies.of_tank(row.kind, [(lot.kind, lot.pfas) for lot in lots]),
        max(first, row.earlier_check_on or first) if first else None,
        frozenset(device.system_id for device in devices),
        frozenset({row.pk}),
        min((day for day in ends if day is not None), default=None),
    )


def filled(tank: Tank) -> list[tuple[date, ConcentrateLot]]:
    """Day and lot of all that went in, in order; asks nothing of the database after `layouts`."""
    movements = [line.movement for line in ledger(tank, tank.movements.all())]
    return [(move.moved_on, move.lot) for move in movements if move.goes_in and move.lot]


def system_thing(row: FoamSystem, devices: Iterable[Proportioner]) -> Thing:
    tanks = frozenset(device.tank_id for device in devices if device.system_id == row.pk)
    systems = frozenset({row.pk})
    return Thing(row, "system", applies.of_system(row.kind), row.commissioned_on, systems, tanks)


def equipment_thing(
    row: Equipment, tanks: Mapping[int, Thing], devices: Iterable[Proportioner]
) -> Thing:
    """In service since it was installed, else since what it stands at is."""
    answers = applies.of_equipment(row.kind, row.variety)
    if row.tank_id is not None:
        at = tanks.get(row.tank_id)
        begun = row.installed_on or (at.begun if at else None)
        systems = at.systems if at else frozenset()
        return Thing(row, "equipment", answers, begun, systems, frozenset({row.tank_id}))
    if row.system is not None:
        begun = row.installed_on or row.system.commissioned_on
        near = system_thing(row.system, devices)
        return Thing(row, "equipment", answers, begun, near.systems, near.tanks)
    return Thing(row, "equipment", answers, row.installed_on or date.min)


def site_thing(site: Site, at: Layout, tanks: Iterable[Thing]) -> Thing:
    held = list(tanks)
    return Thing(
        site,
        "",
        applies.of_site(tank.answers for tank in held),
        date.min,
        frozenset(row.pk for row in at.systems),
        frozenset(tank.row.pk for tank in held),
    )
