"""Build the invented world in a database that is new, and say what kind a database is."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from django.db import connection, transaction

from itm.accounts.actor import acting, system
from itm.accounts.models import Membership
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.prepare_test import prepare_test
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core import history, outbox
from itm.core.models import Change, Installation
from itm.demo import checks, direct, findings, papers, programmes
from itm.demo import crew as work
from itm.demo.crew import Crew
from itm.demo.registry import World, build
from itm.demo.scenario import Ages, Planned, days_of_work
from itm.notices import gathering, news
from itm.records import bench as benches
from itm.records import preparing
from itm.records.drafts import on_bench
from itm.records.models import Bottle, ProportioningTest
from itm.records.services import plan_visit

# The last line of the load in the history: without it the load was interrupted.
LOADED = "loaded"
BEFORE_EVERYTHING = datetime(2000, 1, 1, tzinfo=UTC)
NEW = 6  # lines of news that a person of the demo has not read
SAMPLES_READ = 2  # of the running visit, whose bench is half done

Kind = Literal["new", "demo", "unfinished", "other"]


def kind_of_database() -> Kind:
    """Asked before anything is migrated or written."""
    tables = connection.introspection.table_names()
    if not tables:
        return "new"
    if Installation._meta.db_table not in tables:
        return "other"
    if not Installation.objects.filter(kind=Installation.Kind.DEMO).exists():
        return "other"
    ended = Change.objects.filter(model=Installation._meta.label, verb=LOADED)
    return "demo" if ended.exists() else "unfinished"


def load(
    now: datetime,
    told: dict[str, Any],
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> None:
    """The years of test days that a scenario tells, up to `now`, in a database without others."""
    ages = Ages(now)
    Installation.objects.create(kind=Installation.Kind.DEMO)
    with outbox.held():
        with transaction.atomic():
            world = build(told, ages)
        with transaction.atomic():
            checks.certificates(world, told["checks"])
        days = _work(told, ages)
        for done, (deed, planned) in enumerate(days, start=1):
            deed(world, planned)
            progress(done, len(days))
        with transaction.atomic():
            programmes.tell(world, told["programmes"])
            papers.bring(world, told["papers"])
            findings.tell(world, told["findings"])
            _plan_ahead(world, told["planned_visits"], now)
            _tell_news(now)
            history.note(system(ages.day(0)), LOADED, model=Installation._meta.label)


def _tell_news(now: datetime) -> None:
    """Years of it came about at once: but for the last few lines everybody has read it."""
    gathering.begin_at(BEFORE_EVERYTHING)
    gathering.gather(now)
    outbox.waiting().filter(kind="mail_at_once").delete()  # nobody is mailed of what is invented
    for membership in Membership.objects.select_related("user", "organisation"):
        news.read_everything(actor=acting(membership, now.date(), at=now), but=NEW)


def _work(told: dict[str, Any], ages: Ages) -> list[tuple[Callable[..., None], Any]]:
    """Test days, direct tests and concentrate checks as their seals follow each other."""
    tests = [(one.begins_at, _test_day, one) for one in days_of_work(told, ages)]
    others = [(one.closes_at, checks.play, one) for one in checks.checks_of_work(told, ages)]
    more = [(one.planned.begins_at, _direct_test, one) for one in direct.direct_work(told, ages)]
    every: list[tuple[datetime, Callable[..., None], Any]] = [*tests, *others, *more]
    return [(deed, planned) for _, deed, planned in sorted(every, key=_when_and_where)]


def _when_and_where(one: tuple[datetime, Callable[..., None], Any]) -> tuple[datetime, str, str]:
    at, _, planned = one
    place = planned.planned if isinstance(planned, direct.PlannedDirect) else planned
    return at, place.site, place.tag


def _test_day(world: World, planned: Planned) -> None:
    """One transaction up to the deeds, which own theirs."""
    crew = work.crew_for(world, planned)
    repaired = planned.event("repaired")
    with transaction.atomic():
        visit = work.plan(crew)
        found = work.prepare(crew, visit, purpose="acceptance" if planned.first else "periodic")
    work.tell_and_start(crew, visit)
    if planned.event("running"):
        with transaction.atomic():
            work.discharge_all(crew, found)
            work.restore(crew, visit, leave_open=4)
            work.read_bench(crew, found, planned.percents, samples=SAMPLES_READ)
        return
    tests = [found]
    with transaction.atomic():
        work.discharge_all(crew, found)
        work.read_bench(crew, found, planned.percents)
        if repaired:
            crew.tick(hours=2)
            left = work.prepare(
                crew, visit, purpose="retest", phase="as_left", adjusted=repaired["adjusted"]
            )
            work.discharge_all(crew, left)
            strengths = zip(("minimum", "design"), repaired["percents"], strict=True)
            work.read_bench(crew, left, dict(strengths))
            tests.append(left)
        work.restore(crew, visit)
        work.catch(crew, visit)
    for test in tests:
        _close(crew, test)
    if repaired:
        at = crew.tick(days=2)
        office = world.actor(crew.contractor, at.date())
        findings.close_fixed(actor=office, proportioner=found.proportioner, at=at)


def _direct_test(world: World, one: direct.PlannedDirect) -> None:
    crew = work.crew_for(world, one.planned)
    with transaction.atomic():
        test = direct.measure(crew, one.told)
    _close(crew, test)


def _close(crew: Crew, test: ProportioningTest) -> None:
    """Handed in by the technician, signed in the office the next morning, or what came between."""
    hand_in(actor=crew.actor, key=test.key, at=crew.tick(minutes=10))
    planned = crew.planned
    if planned.event("handed_in"):
        return
    office = crew.world.actor(crew.contractor, crew.day + timedelta(days=1))
    if sent_back := planned.event("sent_back"):
        at = crew.now + timedelta(hours=20)
        send_back(actor=office, key=test.key, reason=sent_back["reason"], at=at)
        return
    _sign(crew, test, crew.now + timedelta(hours=19))
    if amended := planned.event("amended"):
        _amend(crew, test, amended["reason"])


def _sign(crew: Crew, test: ProportioningTest, at: datetime) -> None:
    office = crew.world.actor(crew.contractor, at.date())
    if office.user is None:
        raise LookupError("A signature needs a person.")
    sign(
        actor=office,
        key=test.key,
        at=at,
        name=office.person,
        qualification=office.user.qualification,
        number=office.user.licence_number,
    )


def _amend(crew: Crew, test: ProportioningTest, reason: str) -> None:
    """A week later: the last sample is set aside and read again, in a record of its own."""
    crew.tick(days=7)
    office = crew.world.actor(crew.contractor, crew.now.date())
    made = amend(actor=office, key=test.key, reason=reason, at=crew.now)
    draft = ProportioningTest.objects.get(pk=made.pk)
    bottle = Bottle.objects.filter(run__test=draft).order_by("-position").first()
    if bottle is None:
        raise LookupError("An amended test has its samples.")
    wrong = bottle.readings.get()
    with transaction.atomic():
        benches.set_aside(
            actor=office, reading=wrong, reason="read from the wrong bottle", at=crew.now
        )
        benches.add_reading(
            actor=office,
            bottle=bottle,
            value_typed=f"{wrong.value - 4 * on_bench(draft).instrument.resolution:.5f}",
            temperature_typed=wrong.temperature_typed,
            at=crew.tick(minutes=2),
        )
    hand_in(actor=office, key=draft.key, at=crew.tick(minutes=10))
    _sign(crew, draft, crew.tick(minutes=20))


def _plan_ahead(world: World, planned_visits: list[dict], now: datetime) -> None:
    """Visits to come; on some a test is prepared already, so that its day can be tried at once."""
    for told in planned_visits:
        site = world.sites[told["site"]]
        today = world.ages.day(0, site.time_zone)
        contractor = site.grants.covering(today).get().organisation.name
        actor = world.actor(contractor, today)
        visit = plan_visit(
            actor=actor,
            site=site,
            planned_on=world.ages.day(-told["in_days"], site.time_zone),
            crew=told["crew"],
            effluent_plan=told["effluent_plan"],
        )
        for test in told.get("prepared", []):
            prepare_test(
                actor=actor, visit=visit, bench=preparing.Direct(test["method"]),
                proportioner=world.proportioners[told["site"], test["tag"]], purpose="periodic",
                at=now,
            )  # fmt: skip
