"""The inspector's list: every system of the jurisdiction by standing, worst first."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.records.models import LatestRecord
from itm.registry.models import FoamSystem, Proportioner
from itm.schedule.models import Duty, Requirement
from itm.schedule.queries import asked, at_sites, few_sites
from itm.trends.devices import DeviceRow, device_rows
from itm.trends.impairments import systems_out
from itm.trends.stretch import MOST_PAGES, PAGE, Stretch, page_number
from itm.trends.unsigned import unsigned_checks, unsigned_tests
from itm.trends.wrong_systems import NONE, Open, found_impaired, in_words, open_at_systems

# Worst first; of the same standing what has lasted longest. Found impaired is what has an open
# deficiency of the worst class; a lean or rich result that is the latest stands as that. Of duties
# the proportioning tests of a system count, and the concentrate checks of the tanks that feed it.
# Inspections stand in the list of next things: they move no system.
STANDINGS = {
    "impaired": "Out of service",
    "wrong": "Found impaired",
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
RANKS = {"outside": (Rank.LEAN, Rank.RICH), "undecided": (Rank.UNDECIDED,)}
SYSTEM = "proportioner__system"  # of a latest record, and of the duty of a test


@dataclass(frozen=True)
class SystemRow:
    system: FoamSystem
    stands: str  # one of STANDINGS
    words: str
    devices: list[DeviceRow]
    wrong: Open = NONE  # open deficiencies at it, its devices and what feeds them
    # How long its oldest result has waited for a signature, where that is told; not what it says.
    waits: str = ""

    @property
    def wrong_words(self) -> str:
        return in_words(self.wrong)


def systems(
    actor: Actor, now: datetime, *, site: str = "", stands: str = "", page: str | int = 1
) -> Stretch[SystemRow]:
    """A stretch of the list, one query a standing at most and hardly any row beyond what it shows.

    `site` is part of a site's name; `stands` one of STANDINGS, anything else means all. Rows come
    in the order of an index: what is shown costs the same among ten thousand systems as among a
    hundred.
    """
    asked_for, found = page_number(page), dict[int, str]()
    wanted = asked_for * PAGE + 1
    for name, keys in standings(actor, site, stands if stands in STANDINGS else "", wanted):
        # What was found stands worse already: a system counts where it is met first.
        for key in keys:
            found.setdefault(key, name)
            if len(found) == wanted:
                break
        if len(found) == wanted:
            break
    shown = list(found.items())[(asked_for - 1) * PAGE :]
    if asked_for > 1 and not shown:  # systems went since that address was made
        return systems(actor, now, site=site, stands=stands)
    rows = with_waits(actor, with_devices(shown[:PAGE], now), now)
    return Stretch(rows, asked_for, len(shown) > PAGE and asked_for < MOST_PAGES)


def standings(
    actor: Actor, site: str, only: str, wanted: int
) -> Iterator[tuple[str, Iterable[int]]]:
    """Each standing with its systems. Where sites are few all are read at once and put in order
    here: planning a query costs more than its rows."""
    scope = Scope.of(actor, site)
    if scope.sites is not None and not only:
        yield from at_few(scope)
        return
    for name, keys in branches(scope, only):
        yield name, in_order(keys, wanted)


def in_order(keys: QuerySet[Any], wanted: int) -> Iterator[int]:
    """As many at a time as may be enough; a system with several duties is met several times."""
    start, many = 0, 2 * wanted
    while part := list(keys[start : start + many]):
        yield from part
        if len(part) < many:
            return
        start += many


@dataclass(frozen=True)
class Scope:
    """What the reader may see of each kind, narrowed to sites by a part of their name."""

    actor: Actor
    site: str
    sites: list[int] | None  # where they are few
    out: set[int]  # systems out of service
    wrong: set[int]  # systems at which an impairment was found and is open

    @classmethod
    def of(cls, actor: Actor, site: str) -> "Scope":
        sites = few_sites(actor)
        return cls(actor, site, sites, systems_out(actor), found_impaired(actor, sites))

    @property
    def first(self) -> set[int]:
        """Systems that stand worse than any result puts them."""
        return self.out | self.wrong

    def by_name(self) -> QuerySet[Any]:
        """Primary keys of systems."""
        every = FoamSystem.objects.visible_to(self.actor)
        rows = self._here(every.filter(retired_on=None, site__retired_on=None))
        return rows.order_by("site__name", "name", "pk").values_list("pk", flat=True)

    def results(self) -> QuerySet[LatestRecord]:
        rows = self._here(not_proven(LatestRecord.objects.visible_to(self.actor)))
        return rows.order_by("rank", "tested_on", "pk")

    def duties(self) -> QuerySet[Any]:
        return of_systems(self._here(asked(Duty.objects.visible_to(self.actor))))

    def _here(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        rows, named = at_sites(rows, self.sites), f"{rows.model.site_path}__name__icontains"
        return rows.filter(**{named: self.site}) if self.site else rows


def at_few(scope: Scope) -> Iterator[tuple[str, list[int]]]:
    if scope.out:
        yield "impaired", list(scope.by_name().filter(pk__in=scope.out))
    if scope.wrong:
        yield "wrong", list(scope.by_name().filter(pk__in=scope.wrong))
    ranked = list(scope.results().values_list("rank", SYSTEM))
    for name, ranks in RANKS.items():
        yield name, [system for rank, system in ranked if rank in ranks]
    columns = ("stands", "latest_on", "stands_changes_on", "pk", "of_system")
    stood: dict[str, list[tuple[Any, int, int]]] = {name: [] for name in BY_DAY}
    for stands, latest_on, changes_on, pk, system in (
        scope.duties().order_by().values_list(*columns)
    ):
        on = latest_on if BY_DAY[stands] == "latest_on" else changes_on
        stood[stands].append((on, pk, system))
    for name, rows in stood.items():
        yield name, [system for _, _, system in sorted(rows)]
    yield "none", list(without_any(scope))


def branches(scope: Scope, only: str = "") -> Iterator[tuple[str, QuerySet[Any]]]:
    """Each standing with the primary keys of its systems, the worst of them first.

    A system may come more than once. Of all standings, one after the other, it comes again under
    better ones. Of `only` one what stands worse is left out, which the database has to look for.
    """
    out = scope.first
    if only in ("", "impaired"):
        yield "impaired", scope.by_name().filter(pk__in=scope.out)
    if only in ("", "wrong"):
        yield "wrong", scope.by_name().filter(pk__in=scope.wrong - scope.out)
    for name, ranks in RANKS.items():
        if only in ("", name):
            results = scope.results().filter(rank__in=ranks)
            if only:
                worse = not_proven_at(SYSTEM).filter(rank__lt=min(ranks))
                results = results.exclude(Exists(worse)).exclude(**{f"{SYSTEM}__in": out})
            yield name, results.values_list(SYSTEM, flat=True)
    for name in BY_DAY:
        if only in ("", name):
            duties = standing_so(scope.duties(), name)
            if only:
                duties = duties.exclude(of_system__in=out)
                duties = duties.exclude(Exists(not_proven_at("of_system")))
                duties = without_worse(duties, name)
            yield name, duties.values_list("of_system", flat=True)
    if only in ("", "none"):
        yield "none", without_any(scope)


def without_any(scope: Scope) -> QuerySet[Any]:
    rest = scope.by_name().exclude(pk__in=scope.first).exclude(Exists(not_proven_at("pk")))
    return rest.exclude(Exists(tests_at("pk"))).exclude(Exists(checks_at("pk")))


def not_proven(rows: QuerySet[LatestRecord]) -> QuerySet[LatestRecord]:
    """What the latest record of a device in use leaves to do."""
    in_use = dict.fromkeys(("retired_on", "system__retired_on", "system__site__retired_on"))
    return rows.filter(
        rank__isnull=False, **{f"proportioner__{name}": none for name, none in in_use.items()}
    )


def not_proven_at(system: str) -> QuerySet[LatestRecord]:
    return not_proven(LatestRecord.objects.filter(**{SYSTEM: OuterRef(system)}))


def tests_at(system: str) -> QuerySet[Duty]:
    tests = asked(Duty.objects.filter(**{SYSTEM: OuterRef(system)}))
    return tests.filter(requirement__task=Requirement.Task.PROPORTIONING_TEST)


def checks_at(system: str) -> QuerySet[Duty]:
    """Of every tank that a proportioner of the system draws from."""
    fed = Q(tank__proportioners__system=OuterRef(system), tank__proportioners__retired_on=None)
    return asked(Duty.objects.filter(fed, requirement__task=Requirement.Task.CONCENTRATE_CHECK))


def of_systems(duties: QuerySet[Duty]) -> QuerySet[Any]:
    """Tests and checks, each with every system in use that it is about in `of_system`: a tank may
    feed several, and several proportioners of one."""
    fed = "tank__proportioners__"
    tests = Q(proportioner__isnull=False, requirement__task=Requirement.Task.PROPORTIONING_TEST)
    checks = Q(
        requirement__task=Requirement.Task.CONCENTRATE_CHECK,
        **{f"{fed}isnull": False, f"{fed}retired_on": None, f"{fed}system__retired_on": None},
    )
    return duties.filter(tests | checks).annotate(of_system=Coalesce(SYSTEM, f"{fed}system"))


def standing_so(duties: QuerySet[Any], name: str) -> QuerySet[Any]:
    """Those that stand so, the most urgent first."""
    # In words that an index has as its condition.
    here = duties.filter(stands=name, stands_changes_on__isnull=name == "overdue")
    # The last, since a tank's check comes once for each system that it feeds.
    return here.order_by(BY_DAY[name], "pk", "of_system")


def without_worse(duties: QuerySet[Any], name: str) -> QuerySet[Any]:
    """Without those of systems that another duty puts further up."""
    worse = Q(stands__in=list(BY_DAY)[: list(BY_DAY).index(name)])
    for others in (tests_at, checks_at):
        duties = duties.exclude(Exists(others("of_system").filter(worse)))
    return duties


def with_devices(found: list[tuple[int, str]], now: datetime) -> list[SystemRow]:
    keys = [key for key, _ in found]
    rows_of = Proportioner.objects.filter(system__in=keys, retired_on=None).order_by("tag", "pk")
    devices = list(rows_of.select_related("system__site__owner"))
    # They bring their systems along; only one without any has to be asked for.
    systems = {device.system_id: device.system for device in devices}
    bare = FoamSystem.objects.select_related("site__owner")
    without = bare.in_bulk([key for key in keys if key not in systems])
    wrong = open_at_systems([*without.values()])
    systems |= without
    rows = device_rows(devices, now)
    by_system: dict[int, list[DeviceRow]] = {}
    for row in rows:
        key = row.proportioner.system_id
        by_system.setdefault(key, []).append(row)
        wrong[key] = wrong.get(key, NONE) | row.wrong
    return [
        SystemRow(systems[key], name, STANDINGS[name], by_system.get(key, []), wrong[key])
        for key, name in found
    ]


def with_waits(actor: Actor, rows: list[SystemRow], now: datetime) -> list[SystemRow]:
    """With what was handed in of a system, or of a tank that feeds it, and never signed. It moves
    no system: nobody reads what it says before the signature."""
    since: dict[int, datetime] = {}
    fed = "tank__proportioners__system"
    for told, way in ((unsigned_tests(actor, now), SYSTEM), (unsigned_checks(actor, now), fed)):
        here = told.filter(**{f"{way}__in": [row.system.pk for row in rows]})
        for system, at in here.order_by().values_list(way, "handed_in_at"):
            since[system] = min(at, since.get(system, at))
    return [
        replace(row, waits=_waiting(row.system, since[row.system.pk], now))
        if row.system.pk in since
        else row
        for row in rows
    ]


def _waiting(system: FoamSystem, since: datetime, now: datetime) -> str:
    zone = system.site.time_zone
    return f"not signed for {(date_at(zone, now) - date_at(zone, since)).days} days"
