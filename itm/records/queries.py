"""What a person may read of visits, tests and what hangs on them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.records.loading import BENCH_ORDER, CAUGHT_ORDER
from itm.records.models import (
    Bench,
    Bottle,
    ConcentrateCheck,
    Evaluation,
    FlowRun,
    FlushStep,
    Photo,
    ProportioningTest,
    Reading,
    RestorationLine,
    Visit,
)
from itm.records.results import in_force, with_corrections
from itm.registry.finding import Wanted, matching
from itm.registry.models import (
    Attachment,
    ConcentrateLot,
    FlowPoint,
    Grant,
    Instrument,
    Proportioner,
    Site,
    Store,
    Tank,
)


def visits(actor: Actor) -> QuerySet[Visit]:
    """A contractor's own, planned and past; owner and authority see those that were started."""
    return Visit.objects.visible_to(actor).select_related("site", "contractor")


State = ProportioningTest.State
METHODS = ProportioningTest.Method.choices
PURPOSES, PHASES = ProportioningTest.Purpose.choices, ProportioningTest.Phase.choices
VISIT_SORTS = {"planned": "planned_on", "site": "site__name", "contractor": "contractor__name"}

VISIT_NARROWS = {"site": "site__key", "since": "planned_on__gte", "until": "planned_on__lte"}


def listed_visits(actor: Actor, asked: Wanted) -> QuerySet[Visit]:
    """Newest day first, unless another order is asked for."""
    rows = visits(actor)
    rows = matching(rows, asked.find, ("site__name", "contractor__name"))
    rows = rows.filter(**{VISIT_NARROWS[name]: value for name, value in asked.narrow.items()})
    name = VISIT_SORTS.get(asked.sort.removeprefix("-"), "planned_on")
    up = asked.sort in VISIT_SORTS
    return rows.order_by(name if up else f"-{name}", "-pk")


def visit(actor: Actor, key: UUID) -> Visit:
    """With everything its page shows, in a fixed number of queries."""
    lines = RestorationLine.objects.select_related("proportioner", "followed_by", "follows")
    row = (
        visits(actor)
        .select_related("site__owner")
        .prefetch_related("notices", Prefetch("restoration_lines", lines))
        .filter(key=key)
        .first()
    )
    if row is None:
        raise NotFound("visit", key)
    return row


MOST_OPEN_VISITS = 200  # own choice: more than the crews of one contractor have open
PLAN_KEPT = timedelta(days=60)  # own choice: a plan older than this was given up


def open_visits(actor: Actor) -> list[Any]:
    """Visits of the actor's own crew with something left to do: planned, out of service, or with a
    draft. `test_count` leaves out what was abandoned."""
    drafts = ProportioningTest.objects.filter(visit=OuterRef("pk"), state=State.DRAFT)
    to_do = (
        Q(started_at=None, planned_on__gte=actor.today - PLAN_KEPT)
        | Q(started_at__isnull=False, restored_at=None)
        | Exists(drafts)
    )
    rows = visits(actor).filter(to_do, contractor=actor.organisation_id)
    count = Count("tests", filter=~Q(tests__state=State.ABANDONED))
    rows = rows.select_related("site__owner").annotate(test_count=count)
    return list(rows.order_by("planned_on", "pk")[:MOST_OPEN_VISITS])


def benches_in(actor: Actor, visit: Visit) -> list[Bench]:
    """Benches of the tests of a visit that the actor may see, with all bottles and readings."""
    own = tests(actor).filter(visit=visit).values("pk")
    readings = Prefetch("readings", Reading.objects.order_by(*BENCH_ORDER))
    bottles = Bottle.objects.filter(Q(run=None) | Q(run__test__in=own)).select_related("run")
    rows = visit.benches.filter(tests__in=own).distinct().order_by("pk")
    return list(
        rows.select_related("instrument", "lot", "tank").prefetch_related(
            Prefetch("bottles", bottles.order_by(*CAUGHT_ORDER).prefetch_related(readings)),
            "instrument__certificates",
        )
    )


def visit_at(actor: Actor, site: Site, key: UUID) -> Visit:
    """A visit to this very site."""
    row = visits(actor).filter(site=site, key=key).first()
    if row is None:
        raise NotFound("visit", key)
    return row


def photos(actor: Actor, visit: Visit) -> list[Photo]:
    """Photos of a visit whose files the actor may see."""
    shown = Attachment.objects.visible_to(actor).filter(withdrawn_at=None).values("pk")
    rows = visit.photos.filter(attachment__in=shown)
    return list(rows.select_related("visit", "run", "line", "reading", "attachment"))


def photos_of_checks(actor: Actor, checks: Iterable[ConcentrateCheck]) -> list[Photo]:
    """Photos of the bottles of these checks whose files the actor may see."""
    shown = Attachment.objects.visible_to(actor).filter(withdrawn_at=None).values("pk")
    rows = Photo.objects.filter(sample__concentrate_check__in=checks, attachment__in=shown)
    return list(rows.select_related("sample", "attachment"))


def visit_tests(actor: Actor, visit: Visit) -> list[ProportioningTest]:
    """The tests of a visit that the actor may see, with what tells how far they are."""
    rows = with_corrections(tests(actor).filter(visit=visit)).prefetch_related(*_PROGRESS)
    return list(rows.order_by("proportioner__system__name", "proportioner__tag", "pk"))


def points_left(tests: Sequence[ProportioningTest]) -> dict[int, list[FlowPoint]]:
    """Flow points in use of which a test has no run, by its primary key. For code that holds the
    tests by right, with their runs read."""
    known = FlowPoint.objects.filter(
        proportioner__in={test.proportioner_id for test in tests}, retired_on=None
    )
    points = list(known.order_by("flow", "pk"))
    out = {}
    for test in tests:
        run = {one.flow_point_id for one in test.runs.all()}
        out[test.pk] = [
            one
            for one in points
            if one.proportioner_id == test.proportioner_id and one.pk not in run
        ]
    return out


def handed_in_devices(visit: Visit) -> set[int]:
    """Proportioners (by primary key) of the visit with a test that rests on their lines."""
    rows = visit.tests.filter(state__in=[State.HANDED_IN, State.SEALED])
    return set(rows.values_list("proportioner", flat=True))


def tests(actor: Actor) -> QuerySet[ProportioningTest]:
    return ProportioningTest.objects.visible_to(actor).select_related(
        "site", "visit__contractor", "proportioner__system", "proportioner__tank",
        "bench__instrument", "bench__lot", "bench__tank", "tank", "direct__concentrate_meter",
        "direct__second_meter",
    )  # fmt: skip


def test(actor: Actor, key: UUID) -> ProportioningTest:
    """With runs and bottles, stop-and-flush steps and restoration lines."""
    row = tests(actor).filter(key=key).prefetch_related(*_PROGRESS).first()
    if row is None:
        raise NotFound("proportioning test", key)
    return row


_SAMPLES = Prefetch(
    "bottles", Bottle.objects.order_by("taken_at", "pk").prefetch_related("readings")
)
_PROGRESS = (
    Prefetch(
        "runs", FlowRun.objects.select_related("flow_point", "direct").prefetch_related(_SAMPLES)
    ),
    "flush_steps",
    "visit__restoration_lines",
)  # fmt: skip


def run(actor: Actor, key: UUID) -> FlowRun:
    rows = FlowRun.objects.filter(test__in=_own_tests(actor)).select_related(
        "flow_point",
        "direct",
        "test__direct",
        "test__visit__site",
        "test__site",
        "test__proportioner",
    )
    row = rows.prefetch_related(_SAMPLES).filter(key=key).first()
    if row is None:
        raise NotFound("flow point of a test", key)
    return row


def sample(actor: Actor, key: UUID) -> Any:
    """A bottle that was caught at a flow point, so that its run is never missing."""
    rows = Bottle.objects.filter(run__test__in=_own_tests(actor)).select_related("run__test__visit")
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("sample", key)
    return row


def _bottles(actor: Actor) -> QuerySet[Bottle]:
    own = _own_tests(actor)
    mine = Q(run__test__in=own) | Q(run=None, bench__tests__in=own)
    return Bottle.objects.filter(mine).distinct()


def bottle(actor: Actor, key: UUID) -> Bottle:
    """Any bottle of a bench: of the samples those of tests that the actor may see."""
    rows = _bottles(actor).select_related(
        "bench__visit__site", "bench__instrument", "run__test__visit"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("bottle", key)
    return row


def reading(actor: Actor, key: UUID) -> Reading:
    rows = Reading.objects.filter(bottle__in=_bottles(actor)).select_related(
        "bottle__bench__visit__site", "bottle__bench__tank", "bottle__run__test__proportioner"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("reading", key)
    return row


def flush_step(actor: Actor, key: UUID) -> FlushStep:
    rows = FlushStep.objects.filter(test__in=_own_tests(actor)).select_related("test__visit")
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("step", key)
    return row


def restoration_line(actor: Actor, key: UUID) -> RestorationLine:
    rows = RestorationLine.objects.filter(visit__in=_own_visits(actor))
    row = rows.select_related("visit__site", "proportioner").filter(key=key).first()
    if row is None:
        raise NotFound("restoration line", key)
    return row


def _own_tests(actor: Actor) -> QuerySet[ProportioningTest]:
    return ProportioningTest.objects.visible_to(actor)


def _own_visits(actor: Actor) -> QuerySet[Visit]:
    return Visit.objects.visible_to(actor)


# What can be chosen at Prepare ---------------------------------------------------------------


def sites_to_visit(actor: Actor) -> QuerySet[Site]:
    """Sites where the contractor is engaged today."""
    engaged = Grant.objects.today(actor).filter(organisation=actor.organisation_id)
    return Site.objects.visible_to(actor).filter(pk__in=engaged.values("site"), retired_on=None)


def proportioners_at(actor: Actor, site: Site) -> QuerySet[Proportioner]:
    rows = Proportioner.objects.visible_to(actor).filter(system__site=site, retired_on=None)
    return rows.select_related("system__site", "tank").order_by("system__name", "tag")


def flow_points_of(proportioner: Proportioner) -> QuerySet[FlowPoint]:
    return proportioner.flow_points.filter(retired_on=None).select_related("proportioner")


def flow_point(proportioner: Proportioner, key: UUID) -> FlowPoint:
    row = flow_points_of(proportioner).filter(key=key).first()
    if row is None:
        raise NotFound("flow point", key)
    return row


def instruments(actor: Actor) -> QuerySet[Instrument]:
    """What a bench can be read with."""
    rows = Instrument.objects.visible_to(actor).filter(retired_on=None)
    return rows.exclude(method=Instrument.Method.FLOW)


def flow_meters(actor: Actor) -> QuerySet[Instrument]:
    rows = Instrument.objects.visible_to(actor).filter(retired_on=None)
    return rows.filter(method=Instrument.Method.FLOW)


def lots_for(tank: Tank) -> QuerySet[ConcentrateLot]:
    """What standards for its proportioners can have been made from: what ever went into the tank,
    and what stands in store at the site. Who reads the tank reads this of it."""
    in_tank = tank.movements.in_force().filter(lot__isnull=False)
    in_store = Store.objects.filter(site=tank.site_id, standing=Store.Standing.SUPPLY)
    return ConcentrateLot.objects.filter(
        Q(pk__in=in_tank.order_by().values("lot")) | Q(pk__in=in_store.order_by().values("lot"))
    )


def newest_lot_in(tank: Tank) -> ConcentrateLot | None:
    """The last that went in."""
    row = tank.movements.in_force().filter(lot__isnull=False).select_related("lot").last()
    return row.lot if row is not None else None


def benches_for(visit: Visit, proportioner: Proportioner) -> list[Bench]:
    """Benches of the visit that a test of this proportioner can share."""
    rows = visit.benches.filter(tank=proportioner.tank_id, sealed_at=None)
    return list(rows.select_related("instrument", "lot").order_by("pk"))


@dataclass(frozen=True)
class Previous:
    """One sealed result, and what the line of its bench tells about an instrument."""

    test: ProportioningTest
    tested_on: date
    flow_points: list[dict]  # of the engine: name, percent, limits, certainty …
    slope: float | None


def previous_results(actor: Actor, proportioner: Proportioner, count: int = 3) -> list[Previous]:
    """The latest sealed tests of a proportioner, newest first, two queries."""
    latest = Prefetch("evaluations", Evaluation.objects.order_by("-pk"), to_attr="newest_first")
    rows = in_force(tests(actor).filter(proportioner=proportioner)).reverse()
    out = []
    for row in rows.prefetch_related(latest)[:count]:
        result = row.newest_first[0].result if row.newest_first else {}
        slope = (result.get("line") or {}).get("slope")
        out.append(Previous(row, row.tested_on, result.get("flow_points", []), slope))
    return out
