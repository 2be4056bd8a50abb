"""What one site has on record of one year: tested, due, wrong, out of service, and held at its end.

A reader finds in it what may be read elsewhere and nothing else, so the sheet says for whom it was
made. A cycle belongs to the year in which its latest day lies.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.findings.models import Deficiency, Impairment
from itm.findings.queries import all_deficiencies, all_impairments
from itm.records.models import ConcentrateCheck, ProportioningTest, Seal
from itm.registry.inventory import Stock, inventory
from itm.registry.models import Site
from itm.schedule.due import days_missed
from itm.schedule.models import Duty, Happening
from itm.trends.effluent import OfYear, of_year
from itm.trends.latest import FlowPointResult, results_of

MOST = 200  # cycles named one by one; the counts above them hold all


@dataclass(frozen=True)
class Tested:
    """A sealed test. `corrected` where a later sealed record stands in its place."""

    test: ProportioningTest
    number: int
    flow_points: tuple[FlowPointResult, ...]
    corrected: bool


@dataclass(frozen=True)
class Checked:
    check: ConcentrateCheck
    number: int
    corrected: bool


@dataclass(frozen=True)
class Task:
    """How the cycles of one task went."""

    words: str
    source: str
    cycles: int
    in_time: int
    late: int
    overdue: int
    to_come: int


@dataclass(frozen=True)
class Late:
    """A cycle that was done late, or not yet."""

    duty: Duty
    days: int


@dataclass(frozen=True)
class Out:
    """One time that systems were out of service, with its hours inside the year."""

    impairment: Impairment
    hours: float


@dataclass(frozen=True)
class SiteYear:
    site: Site
    year: int
    until: date  # its last day, or today while it lasts
    tests: tuple[Tested, ...]
    checks: tuple[Checked, ...]
    unsigned: int  # handed in and not sealed, as far as the reader may see
    tasks: tuple[Task, ...]
    late: tuple[Late, ...]
    late_count: int
    wrong: tuple[Deficiency, ...]  # open at any time of the year
    out: tuple[Out, ...]
    happened: tuple[Happening, ...]
    effluent: OfYear
    stocks: tuple[Stock, ...]  # at the end of `until`
    newest: Seal | None  # the end of the chain when the sheet was made

    @property
    def running(self) -> bool:
        return self.until < date(self.year, 12, 31)

    @property
    def in_force(self) -> list[Tested]:
        return [one for one in self.tests if not one.corrected]

    @property
    def outside(self) -> int:
        return sum(one.test.limits != "in band" for one in self.in_force)

    @property
    def undecided(self) -> int:
        return sum(
            one.test.limits == "in band" and one.test.certainty != "settled"
            for one in self.in_force
        )

    @property
    def hours_out(self) -> float:
        return sum(one.hours for one in self.out)

    def total(self, what: str) -> int:
        return sum(getattr(task, what) for task in self.tasks)


def years_of(site: Site, today: date) -> range:
    """From the oldest commissioning on, the newest last; this year alone where nothing stands."""
    begun = site.systems.order_by("commissioned_on").values_list("commissioned_on", flat=True)
    first = begun.first()
    return range(min(first.year if first else today.year, today.year), today.year + 1)


def site_year(actor: Actor, site: Site, year: int, now: datetime) -> SiteYear:
    """Of a site that the actor was shown to see, in a number of queries that does not grow."""
    today = date_at(site.time_zone, now)
    first, last = date(year, 1, 1), date(year, 12, 31)
    until = min(last, today)
    tests, unsigned_tests = _tests(actor, site, first, last)
    checks, unsigned_checks = _checks(actor, site, first, last)
    duties = list(
        Duty.objects.visible_to(actor)
        .filter(site=site, withdrawn_on=None, latest_on__range=(first, last))
        .select_related(
            "requirement", "proportioner__system", "tank", "equipment", "system", "site"
        )
        .order_by("latest_on", "pk")
    )
    late = [one for one in (_late(duty, today) for duty in duties) if one is not None]
    seals = Seal.objects.visible_to(actor).filter(site=site)
    return SiteYear(
        site=site,
        year=year,
        until=until,
        tests=tests,
        checks=checks,
        unsigned=unsigned_tests + unsigned_checks,
        tasks=_tasks(duties, today),
        late=tuple(late[:MOST]),
        late_count=len(late),
        wrong=_wrong(actor, site, first, last),
        out=_out(actor, site, year, now),
        happened=tuple(
            Happening.objects.visible_to(actor)
            .filter(site=site, happened_on__range=(first, last), withdrawn_on=None)
            .select_related("system")
            .order_by("happened_on", "pk")
        ),
        effluent=of_year(actor, site, year),
        stocks=tuple(inventory(actor, until, site)),
        newest=seals.order_by("-number").first(),
    )


def _tests(actor: Actor, site: Site, first: date, last: date) -> tuple[tuple[Tested, ...], int]:
    rows = ProportioningTest.objects.visible_to(actor).filter(
        site=site, tested_on__range=(first, last)
    )
    sealed = list(
        rows.filter(state=ProportioningTest.State.SEALED)
        .select_related("proportioner__system", "visit__contractor", "seal")
        .order_by("tested_on", "phase", "pk")
    )
    amended = ProportioningTest.objects.filter(
        amends__in=[test.pk for test in sealed], state=ProportioningTest.State.SEALED
    )
    corrected = set(amended.values_list("amends_id", flat=True))
    results = results_of(test.pk for test in sealed)
    told = tuple(
        Tested(test, test.seal.number, results.get(test.pk, ()), test.pk in corrected)
        for test in sealed
    )
    return told, rows.filter(state=ProportioningTest.State.HANDED_IN).count()


def _checks(actor: Actor, site: Site, first: date, last: date) -> tuple[tuple[Checked, ...], int]:
    rows = ConcentrateCheck.objects.visible_to(actor).filter(
        site=site, checked_on__range=(first, last)
    )
    sealed = list(
        rows.filter(state=ConcentrateCheck.State.SEALED)
        .select_related("tank", "organisation", "seal")
        .order_by("checked_on", "pk")
    )
    amended = ConcentrateCheck.objects.filter(
        amends__in=[check.pk for check in sealed], state=ConcentrateCheck.State.SEALED
    )
    corrected = set(amended.values_list("amends_id", flat=True))
    told = tuple(Checked(check, check.seal.number, check.pk in corrected) for check in sealed)
    return told, rows.filter(state=ConcentrateCheck.State.HANDED_IN).count()


def _late(duty: Duty, today: date) -> Late | None:
    days = days_missed(duty.latest_on, duty.done_on or today)
    return Late(duty, days) if days else None


def _tasks(duties: Sequence[Duty], today: date) -> tuple[Task, ...]:
    """By task, the ones that went worst first."""
    counts: dict[int, Counter[str]] = {}
    named = {}
    for duty in duties:
        named[duty.requirement_id] = duty.requirement
        counts.setdefault(duty.requirement_id, Counter())[_went(duty, today)] += 1
    tasks = [
        Task(str(named[key]), named[key].source, sum(went.values()), went["in_time"],
             went["late"], went["overdue"], went["to_come"])
        for key, went in counts.items()
    ]  # fmt: skip
    return tuple(sorted(tasks, key=lambda task: (-task.overdue, -task.late, task.words)))


def _went(duty: Duty, today: date) -> str:
    if duty.done_on is not None:
        return "late" if duty.done_on > duty.latest_on else "in_time"
    return "overdue" if duty.latest_on < today else "to_come"


def _wrong(actor: Actor, site: Site, first: date, last: date) -> tuple[Deficiency, ...]:
    begins = datetime.combine(first, time(), ZoneInfo(site.time_zone))
    rows = all_deficiencies(actor).filter(site=site, found_on__lte=last)
    rows = rows.filter(Q(closed_at=None) | Q(closed_at__gte=begins))
    return tuple(rows.order_by("severity", "found_on", "pk"))


def _out(actor: Actor, site: Site, year: int, now: datetime) -> tuple[Out, ...]:
    zone = ZoneInfo(site.time_zone)
    begins, ends = datetime(year, 1, 1, tzinfo=zone), datetime(year + 1, 1, 1, tzinfo=zone)
    rows = all_impairments(actor).filter(site=site, started_at__lt=ends, taken_back_at=None)
    rows = rows.filter(Q(ended_at=None) | Q(ended_at__gte=begins)).order_by("started_at", "pk")
    told = []
    for row in rows:
        lasted = min(row.ended_at or now, ends).astimezone(UTC) - max(row.started_at, begins)
        told.append(Out(row, max(lasted, timedelta()).total_seconds() / 3600))
    return tuple(told)
