"""The series of one proportioner over the years, as found; what else happened stands beside it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import groupby
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Exists, OuterRef

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import NotFound
from itm.records import past
from itm.records.baseline import proven
from itm.records.models import PastResult, ProportioningTest
from itm.registry.models import ChangeOver, Proportioner, TankMovement
from itm.schedule.due import days_missed, missed_tests
from itm.schedule.models import Duty
from itm.schedule.queries import cycles_of
from itm.schedule.services import window_of
from itm.trends.devices import DeviceRow, device_rows, proportioners
from itm.trends.latest import FlowPointResult, State, band_of, results_of

PAGE = 50
Band = tuple[float, float]
# Short enough for a plot.
METHODS = {
    "refractive_index": "read by index",
    "brix": "read by Brix",
    "conductivity": "read by conductivity",
    "two_flows": "by two flows",
    "draw_down": "by tank draw-down",
    "other_liquid": "by another liquid",
}
LOT, ADJUSTED, METHOD, CHANGED_OVER = "lot", "adjusted", "method", "changed over"


@dataclass(frozen=True)
class Point:
    """One flow point of one record."""

    tested_on: date
    result: FlowPointResult
    band: Band
    record: "Record"


@dataclass(frozen=True)
class Record:
    """A sealed record of the proportioner. `corrected_by` is the record that took its place."""

    key: UUID
    tested_on: date
    purpose: str
    as_left: bool
    adjusted: str
    contractor: str
    method: str
    instrument: str
    reason: str  # why it corrects the record before it, if it does
    corrected_by: UUID | None
    beside: bool = False  # another method of the same day stands in the series


@dataclass(frozen=True)
class FlowPointSeries:
    """`points` are as found and in force, oldest first; the rest is shown apart, never joined."""

    name: str
    flow: str
    points: tuple[Point, ...]
    as_left: tuple[Point, ...]
    corrected: tuple[Point, ...]
    beside: tuple[Point, ...]  # the same day by another method than that of the series
    baseline: Point | None
    bands: tuple[tuple[date | None, float, float], ...]
    anew: date | None = None  # the day of the changeover from which baselines count
    reported: tuple[PastResult, ...] = ()  # by older papers; no point of the line, nor of its trend


@dataclass(frozen=True)
class Event:
    """`words` are short enough for a plot."""

    day: date
    words: str
    detail: str = ""
    kind: str = ""

    @property
    def changes(self) -> bool:
        """Whether results may step here; a corrected record changes no device."""
        return bool(self.kind)


@dataclass(frozen=True)
class TurnedCycle:
    """One cycle of the periodic test with what its dates tell."""

    duty: Duty
    days_missed: int
    tests_missed: int


@dataclass(frozen=True)
class Series:
    proportioner: Proportioner
    flow_points: tuple[FlowPointSeries, ...]
    events: tuple[Event, ...]
    cycles: tuple[TurnedCycle, ...]
    count: int  # records in force
    papers: int = 0  # results that older papers report


def devices(actor: Actor, now: datetime, *, find: str = "", page: str | int = 1) -> Page[DeviceRow]:
    """A page of all proportioners with their latest results; `find` is part of a site's name."""
    rows = proportioners(actor)
    if find:
        rows = rows.filter(system__site__name__icontains=find)
    found: Any = Paginator(rows, PAGE).get_page(page)
    found.object_list = device_rows(list(found.object_list), now)
    return found


def series(actor: Actor, key: UUID, now: datetime) -> Series:
    """Everything of the trend page, in a fixed number of queries. Raises NotFound."""
    rows = Proportioner.objects.visible_to(actor)
    device = rows.select_related("system__site__owner", "tank").filter(key=key).first()
    if device is None:
        raise NotFound("proportioner", key)
    tests = sealed_tests(actor, device)
    papers = past.of_proportioner(actor, device)
    results = results_of(test.pk for test in tests)
    corrected_by = {t.amends_id: t.key for t in tests if t.amends_id is not None}
    apart = side_by_side([test for test in tests if test.pk not in corrected_by])
    points = [
        Point(
            test.tested_on,
            result,
            result.band or band_of(test),
            replace(record_of(test, corrected_by.get(test.pk)), beside=test.pk in apart),
        )
        for test in tests
        for result in results.get(test.pk, ())
    ]
    happened = events(actor, device, [test for test in tests if test.pk not in apart])
    anew = max((event.day for event in happened if event.kind == CHANGED_OVER), default=None)
    flows = dict(device.flow_points.order_by("flow").values_list("name", "flow_typed"))
    flows.update((point.result.name, "") for point in points if point.result.name not in flows)
    flows.update((paper.flow_point, "") for paper in papers if paper.flow_point not in flows)
    return Series(
        proportioner=device,
        flow_points=tuple(
            replace(
                flow_point_series(name, flow, [p for p in points if p.result.name == name], anew),
                reported=tuple(paper for paper in papers if paper.flow_point == name),
            )
            for name, flow in flows.items()
        ),
        events=tuple(sorted(happened, key=lambda event: event.day)),
        cycles=turned_cycles(actor, device, now),
        count=sum(test.pk not in corrected_by for test in tests),
        papers=len(papers),
    )


def sealed_tests(actor: Actor, device: Proportioner) -> list[ProportioningTest]:
    """Oldest first; as left after as found of the same day."""
    rows = ProportioningTest.objects.visible_to(actor).filter(
        proportioner=device, state=State.SEALED
    )
    rows = rows.select_related(
        "visit__contractor", "bench__instrument", "amends", "direct__concentrate_meter",
        "direct__second_meter",
    )  # fmt: skip
    return list(rows.order_by("tested_on", "phase", "pk"))


def measured_by(test: ProportioningTest) -> tuple[str, str, str]:
    """The method as a mark of a series knows it, in words, and with what."""
    if test.bench is not None:
        meter = test.bench.instrument
        return meter.method, meter.get_method_display(), str(meter)
    setup = test.direct
    meters = [setup.concentrate_meter or setup.concentrate_fitted]
    meters.append(setup.second_meter or setup.second_fitted)
    named = ", ".join(dict.fromkeys(str(meter) for meter in meters if meter))
    return test.method, test.get_method_display(), named


def side_by_side(tests: Sequence[ProportioningTest]) -> set[int]:
    """Tests that stand beside the series: on a day with several methods that of the result before
    goes on, because two methods of one day are no change of the device."""
    apart: set[int] = set()
    before = ""
    for _, group in groupby(tests, key=lambda test: (test.tested_on, test.phase)):
        methods = {test.pk: measured_by(test)[0] for test in group}
        kept = before if before in methods.values() else next(iter(methods.values()))
        apart |= {pk for pk, method in methods.items() if method != kept}
        before = kept
    return apart


def record_of(test: ProportioningTest, corrected_by: UUID | None) -> Record:
    _, method, instrument = measured_by(test)
    return Record(
        key=test.key,
        tested_on=test.tested_on,
        purpose=test.get_purpose_display(),
        as_left=test.phase == ProportioningTest.Phase.AS_LEFT,
        adjusted=test.adjusted,
        contractor=test.visit.contractor.name,
        method=method,
        instrument=instrument,
        reason=test.amendment_reason,
        corrected_by=corrected_by,
    )


def flow_point_series(
    name: str, flow: str, points: Sequence[Point], anew: date | None = None
) -> FlowPointSeries:
    in_force = [
        point for point in points if point.record.corrected_by is None and not point.record.beside
    ]
    found = [point for point in in_force if not point.record.as_left]
    return FlowPointSeries(
        name=name,
        flow=flow,
        points=tuple(found),
        as_left=tuple(point for point in in_force if point.record.as_left),
        corrected=tuple(point for point in points if point.record.corrected_by is not None),
        beside=tuple(point for point in points if point.record.beside),
        baseline=baseline(in_force, anew),
        anew=anew,
        bands=bands(found or in_force),
    )


def baseline(points: Sequence[Point], anew: date | None = None) -> Point | None:
    """The latest acceptance test that this flow point passed: inside the limits, and settled. What
    was proved before the changeover to another kind of concentrate is none."""
    label = ProportioningTest.Purpose.ACCEPTANCE.label
    passed = [
        point
        for point in points
        if point.record.purpose == label
        and (anew is None or point.tested_on >= anew)
        and proven(point.result.limits, point.result.certainty)
    ]
    return passed[-1] if passed else None


def bands(points: Sequence[Point]) -> tuple[tuple[date | None, float, float], ...]:
    """The band as each record froze it; one entry for each change."""
    out: list[tuple[date | None, float, float]] = []
    for point in points:
        if not out or out[-1][1:] != point.band:
            out.append((point.tested_on if out else None, *point.band))
    return tuple(out)


def events(actor: Actor, device: Proportioner, tests: Sequence[ProportioningTest]) -> list[Event]:
    """What could make a step: another lot in the tank, a changeover, an adjustment, another way of
    reading, a corrected record."""
    out = []
    before = None
    over = ChangeOver.objects.filter(
        fill=OuterRef("pk"), system=device.system_id, withdrawn_because=""
    )
    fills = TankMovement.objects.visible_to(actor).in_force().annotate(over=Exists(over))
    for fill in fills.filter(tank=device.tank_id, lot__isnull=False).select_related("lot"):
        if fill.over:
            out.append(Event(fill.moved_on, "changeover", f"to {fill.lot}", CHANGED_OVER))
        elif before is not None and fill.lot_id != before:
            out.append(Event(fill.moved_on, f"lot {fill.lot.batch}", str(fill.lot), LOT))
        before = fill.lot_id
    zone = device.system.site.time_zone
    method = ""
    for test in tests:
        read_by, _, read_with = measured_by(test)
        if method and read_by != method:
            out.append(Event(test.tested_on, METHODS[read_by], read_with, METHOD))
        method = read_by
        if test.phase == ProportioningTest.Phase.AS_LEFT:
            out.append(Event(test.tested_on, "adjusted", test.adjusted, ADJUSTED))
        if test.amends_id is not None and test.sealed_at is not None:
            corrected_on = date_at(zone, test.sealed_at)
            out.append(Event(corrected_on, "record corrected", test.amendment_reason))
    return out


def turned_cycles(actor: Actor, device: Proportioner, now: datetime) -> tuple[TurnedCycle, ...]:
    """Newest first: what was done late stays visible as missed."""
    today = date_at(device.system.site.time_zone, now)
    out = []
    for duty in cycles_of(actor, device):
        until = duty.done_on or today
        swallowed = 0
        if duty.cause == Duty.Cause.PERIODIC:
            swallowed = missed_tests(window_of(duty.requirement), duty.counts_from, until)
        out.append(TurnedCycle(duty, days_missed(duty.latest_on, until), swallowed))
    return tuple(out)
