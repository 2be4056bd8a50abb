"""The inspector's list: every system of the jurisdiction by standing, worst first."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from itm.accounts.actor import Actor
from itm.records.models import LatestRecord
from itm.registry.models import FoamSystem, Proportioner
from itm.schedule.models import Duty, Requirement
from itm.schedule.queries import asked, at_sites, few_sites
from itm.trends.devices import DeviceRow, device_rows
from itm.trends.impairments import systems_out
from itm.trends.stretch import MOST_PAGES, PAGE, Stretch, page_number

# Worst first; of the same standing what has lasted longest. Of duties the proportioning tests of a
# system count, and the concentrate checks of the tanks that feed it. Inspections stand in the list
# of next things: they move no system.
STANDINGS = {
    "impaired": "Out of service",
    "outside": "Lean or rich",
    "undecided": "Undecided",
    "overdue": "Overdue",
    "due": "Due",
    "open": "Window open",
    "ahead": "Ahead",
    "none": "No duty yet",
}
BY_DAY = {"overdue": "latest_on", "due": "stands_changes_on", "open": "stands_changes_on",
          "ahead": "stands_changes_on"}  # fmt: skip
Rank = LatestRecord.NotProven
SYSTEM = "proportioner__system"  # of a latest record, and of the duty of a test


@dataclass(frozen=True)
class SystemRow:
    system: FoamSystem
    stands: str  # one of STANDINGS
    words: str
    devices: list[DeviceRow]


def systems(
    actor: Actor, now: datetime, *, site: str = "", stands: str = "", page: str | int = 1
) -> Stretch[SystemRow]:
    """A stretch of the list, one query a standing at most and none beyond what it shows.

    `site` is part of a site's name; `stands` one of STANDINGS, anything else means all. Each
    standing leaves out the systems that stand worse, in the order of an index: what is shown costs
    the same among ten thousand systems as among a hundred.
    """
    asked_for, found = page_number(page), list[tuple[str, int]]()
    wanted = asked_for * PAGE + 1
    for name, keys in branches(actor, site):
        if stands not in STANDINGS or name == stands:
            found += [(name, key) for key in keys[: wanted - len(found)]]
        if len(found) == wanted:
            break
    shown = found[(asked_for - 1) * PAGE :]
    if asked_for > 1 and not shown:  # systems went since that address was made
        return systems(actor, now, site=site, stands=stands)
    rows = with_devices(shown[:PAGE], now)
    return Stretch(rows, asked_for, len(shown) > PAGE and asked_for < MOST_PAGES)


def branches(actor: Actor, site: str) -> Iterator[tuple[str, QuerySet[Any]]]:
    """Each standing with the primary keys of its systems, the worst of them first."""
    sites, out = few_sites(actor), systems_out(actor)

    def here(rows: QuerySet[Any]) -> QuerySet[Any]:
        rows = at_sites(rows, sites)
        return rows.filter(**{f"{rows.model.site_path}__name__icontains": site}) if site else rows

    every = FoamSystem.objects.visible_to(actor).filter(retired_on=None, site__retired_on=None)
    by_name = here(every).order_by("site__name", "name", "pk").values_list("pk", flat=True)
    yield "impaired", by_name.filter(pk__in=out)
    results = here(not_proven(LatestRecord.objects.visible_to(actor)))
    results = worst_of_system(results.exclude(**{f"{SYSTEM}__in": out}))
    for name, ranks in (("outside", (Rank.LEAN, Rank.RICH)), ("undecided", (Rank.UNDECIDED,))):
        yield name, results.filter(rank__in=ranks).values_list(SYSTEM, flat=True)
    duties = of_systems(here(asked(Duty.objects.visible_to(actor))))
    duties = duties.exclude(of_system__in=out).exclude(Exists(not_proven_at("of_system")))
    for name in BY_DAY:
        yield name, standing_so(duties, name).values_list("of_system", flat=True)
    rest = by_name.exclude(pk__in=out).exclude(Exists(not_proven_at("pk")))
    yield "none", rest.exclude(Exists(tests_at("pk"))).exclude(Exists(checks_at("pk")))


def not_proven(rows: QuerySet[LatestRecord]) -> QuerySet[LatestRecord]:
    """What the latest record of a device in use leaves to do."""
    in_use = dict.fromkeys(("retired_on", "system__retired_on", "system__site__retired_on"))
    return rows.filter(
        rank__isnull=False, **{f"proportioner__{name}": none for name, none in in_use.items()}
    )


def not_proven_at(system: str) -> QuerySet[LatestRecord]:
    return not_proven(LatestRecord.objects.filter(**{SYSTEM: OuterRef(system)}))


def worst_of_system(results: QuerySet[LatestRecord]) -> QuerySet[LatestRecord]:
    """One of each system; of the same rank what stands so longest."""
    worse = before("rank", "tested_on", "pk")
    return results.exclude(Exists(not_proven_at(SYSTEM).filter(worse))).order_by(
        "rank", "tested_on", "pk"
    )


def tests_at(system: str) -> QuerySet[Duty]:
    tests = asked(Duty.objects.filter(**{SYSTEM: OuterRef(system)}))
    return tests.filter(requirement__task=Requirement.Task.PROPORTIONING_TEST)


def checks_at(system: str) -> QuerySet[Duty]:
    """Of every tank that a proportioner of the system draws from."""
    fed = Q(tank__proportioners__system=OuterRef(system), tank__proportioners__retired_on=None)
    return asked(Duty.objects.filter(fed, requirement__task=Requirement.Task.CONCENTRATE_CHECK))


def of_systems(duties: QuerySet[Duty]) -> QuerySet[Any]:
    """Tests and checks, each once for every system in use that it is about, in `of_system`.

    A tank may feed several systems. Where it feeds several proportioners of one, the first of them
    stands for all.
    """
    fed = "tank__proportioners__"
    tests = Q(proportioner__isnull=False, requirement__task=Requirement.Task.PROPORTIONING_TEST)
    checks = Q(
        requirement__task=Requirement.Task.CONCENTRATE_CHECK,
        **{f"{fed}isnull": False, f"{fed}retired_on": None, f"{fed}system__retired_on": None},
    )
    rows: QuerySet[Any] = duties.filter(tests | checks).annotate(
        of_system=Coalesce(SYSTEM, f"{fed}system"), of_device=Coalesce("proportioner", f"{fed}pk")
    )
    earlier = Proportioner.objects.filter(
        tank=OuterRef("tank"), system=OuterRef("of_system"), retired_on=None,
        pk__lt=OuterRef("of_device"),
    )  # fmt: skip
    return rows.exclude(Exists(earlier))


def standing_so(duties: QuerySet[Any], name: str) -> QuerySet[Any]:
    """The most urgent duty of each system, where it stands so."""
    day, names = BY_DAY[name], list(BY_DAY)
    worse = Q(stands__in=names[: names.index(name)]) | Q(stands=name) & before(day, "pk")
    # In words that an index has as its condition.
    here = duties.filter(stands=name, stands_changes_on__isnull=name == "overdue")
    for others in (tests_at, checks_at):
        here = here.exclude(Exists(others("of_system").filter(worse)))
    return here.order_by(day, "pk")


def before(*columns: str) -> Q:
    """Within a subquery: comes before the outer row in the order of these columns."""
    out, alike = Q(), Q()
    for column in columns:
        out |= alike & Q(**{f"{column}__lt": OuterRef(column)})
        alike &= Q(**{column: OuterRef(column)})
    return out


def with_devices(found: list[tuple[str, int]], now: datetime) -> list[SystemRow]:
    keys = [key for _, key in found]
    rows_of = Proportioner.objects.filter(system__in=keys, retired_on=None).order_by("tag", "pk")
    devices = list(rows_of.select_related("tank", "system__site__owner"))
    # They bring their systems along; only one without any has to be asked for.
    systems = {device.system_id: device.system for device in devices}
    bare = FoamSystem.objects.select_related("site__owner")
    systems |= bare.in_bulk([key for key in keys if key not in systems])
    rows = device_rows(devices, now)
    by_system: dict[int, list[DeviceRow]] = {}
    for row in rows:
        by_system.setdefault(row.proportioner.system_id, []).append(row)
    return [
        SystemRow(systems[key], name, STANDINGS[name], by_system.get(key, []))
        for name, key in found
    ]
