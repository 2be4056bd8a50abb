"""What is wrong and open at systems and their devices, for lists: which stand as found impaired,
and how much is open of each class. A tank counts at every system that it feeds."""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from itm.accounts.actor import Actor
from itm.findings.models import Deficiency
from itm.records.models import LatestRecord
from itm.registry.models import FoamSystem, Proportioner
from itm.schedule.queries import at_sites

Severity, Rank = Deficiency.Severity, LatestRecord.NotProven
Open = frozenset[tuple[int, int]]  # primary keys of open deficiencies with their classes
NONE: Open = frozenset()
WORDS = {
    Severity.IMPAIRMENT: ("impairment", "impairments"),
    Severity.CRITICAL: ("critical deficiency", "critical deficiencies"),
    Severity.NONCRITICAL: ("noncritical deficiency", "noncritical deficiencies"),
}
OWN = ("system", "proportioner__system", "equipment__system")
TANKS = ("tank", "equipment__tank")


def told_by_result() -> Q:
    """A lean or rich result stands by itself, as long as it is the latest."""
    latest = LatestRecord.objects.filter(
        proportioner=OuterRef("proportioner"), rank__in=[Rank.LEAN, Rank.RICH]
    )
    return Q(Exists(latest), cause__in=["lean", "rich"])


def found_impaired(actor: Actor, sites: Collection[int] | None) -> set[int]:
    """Primary keys of systems with an open deficiency in the class of an impairment that their
    latest results do not tell already; two queries, one where there is none."""
    rows = at_sites(Deficiency.objects.visible_to(actor), None if sites is None else [*sites])
    rows = rows.filter(closed_at=None, severity=Severity.IMPAIRMENT).exclude(told_by_result())
    systems, tanks = set[int](), set[int]()
    for values in rows.order_by().values_list(*OWN, *TANKS):
        systems |= {one for one in values[: len(OWN)] if one is not None}
        tanks |= {one for one in values[len(OWN) :] if one is not None}
    return systems | set(_fed(tanks).values_list("system", flat=True) if tanks else ())


def _fed(tanks: Collection[int]) -> QuerySet[Proportioner]:
    return Proportioner.objects.filter(tank__in=tanks, retired_on=None).order_by()


def open_at_devices(devices: Sequence[Proportioner]) -> dict[int, Open]:
    """By primary key of each device what is open at it, at its tank and at its system as a whole;
    one query. The devices came with their systems, and to a reader who may see their sites."""
    rows = list(_open_at({device.system.site_id for device in devices})) if devices else []
    return {
        device.pk: frozenset(
            (pk, severity)
            for pk, severity, proportioner, system, tank, of_system, of_tank in rows
            if proportioner == device.pk
            or device.system_id in (system, of_system)
            or device.tank_id in (tank, of_tank)
        )
        for device in devices
    }


def open_at_systems(systems: Sequence[FoamSystem]) -> dict[int, Open]:
    """The same of systems without any device."""
    rows = list(_open_at({system.site_id for system in systems})) if systems else []
    return {
        system.pk: frozenset((row[0], row[1]) for row in rows if system.pk in (row[3], row[5]))
        for system in systems
    }


def _open_at(sites: Collection[int]) -> QuerySet[Any, Any]:
    rows = Deficiency.objects.filter(site__in=sites, closed_at=None).order_by()
    columns = ("pk", "severity", "proportioner", "system", "tank", *OWN[2:], *TANKS[1:])
    return rows.values_list(*columns)


def in_words(found: Iterable[tuple[int, int]]) -> str:
    """“1 impairment, 2 critical deficiencies open”, the worst first; empty where nothing is."""
    counts = Counter(severity for _, severity in found)
    said = [
        f"{counts[one]} {words[counts[one] != 1]}" for one, words in WORDS.items() if counts[one]
    ]
    return f"{', '.join(said)} open" if said else ""
