"""The series of one proportioner over the years, as found; what else happened stands beside it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import groupby
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import NotFound
from itm.records import past
from itm.records.baseline import proven
from itm.records.models import PastResult, ProportioningTest
from itm.registry.models import Proportioner
from itm.schedule.due import days_missed, missed_tests
from itm.schedule.models import Duty
from itm.schedule.queries import cycles_of
from itm.schedule.services import window_of
from itm.trends.devices import DeviceRow, device_rows, proportioners
from itm.trends.events import ANEW, Event, events, measured_by
from itm.trends.kept import Kept, kept_of
from itm.trends.latest import FlowPointResult, band_of

PAGE = 50
Band = tuple[float, float]


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
    points: tuple[Point, ...]
    as_left: tuple[Point, ...]
    corrected: tuple[Point, ...]
    beside: tuple[Point, ...]  # the same day by another method than that of the series
    baseline: Point | None
    bands: tuple[tuple[date | None, float, float], ...]
    anew: date | None = None  # the day of the changeover from which baselines count
    reported: tuple[PastResult, ...] = ()  # by older papers; no point of the line, nor of its trend
    flow: str = ""  # as typed, where it is one of the register


@dataclass(frozen=True)
class TurnedCycle:
    """One cycle of the periodic test with what its dates tell."""

    duty: Duty
    days_missed: int
    tests_missed: int


@dataclass(frozen=True)
class History:
    """What sealed records say of one device. `anew` is the day from which baselines count."""

    flow_points: tuple[FlowPointSeries, ...]
    events: tuple[Event, ...]
    anew: date | None
    count: int  # records in force


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
    papers = past.of_proportioner(actor, device)
    told = history_of(device, kept_of(actor, [device]))
    flows = dict(device.flow_points.order_by("flow").values_list("name", "flow_typed"))
    names = [*flows, *(one.name for one in told.flow_points), *(one.flow_point for one in papers)]
    known = {one.name: one for one in told.flow_points}
    return Series(
        proportioner=device,
        flow_points=tuple(
            replace(
                known.get(name) or flow_point_series(name, []),
                flow=flows.get(name, ""),
                anew=told.anew,
                reported=tuple(paper for paper in papers if paper.flow_point == name),
            )
            for name in dict.fromkeys(names)
        ),
        events=told.events,
        cycles=turned_cycles(actor, device, now),
        count=told.count,
        papers=len(papers),
    )


def history_of(device: Proportioner, kept: Kept) -> History:
    """The series of one device of those that were read together."""
    tests = kept.tests[device.pk]
    corrected_by = {t.amends_id: t.key for t in tests if t.amends_id is not None}
    apart = of_another_method([test for test in tests if test.pk not in corrected_by])
    points = [
        Point(
            test.tested_on,
            result,
            result.band or band_of(test),
            replace(record_of(test, corrected_by.get(test.pk)), beside=test.pk in apart),
        )
        for test in tests
        for result in kept.results.get(test.pk, ())
    ]
    joined = [test for test in tests if test.pk not in apart]
    happened = events(device, joined, kept.filled(device), kept.happenings(device))
    anew = max((event.day for event in happened if event.kind in ANEW), default=None)
    return History(
        flow_points=tuple(
            flow_point_series(name, [p for p in points if p.result.name == name], anew)
            for name in dict.fromkeys(point.result.name for point in points)
        ),
        events=tuple(sorted(happened, key=lambda event: event.day)),
        anew=anew,
        count=sum(test.pk not in corrected_by for test in tests),
    )


def of_another_method(tests: Sequence[ProportioningTest]) -> set[int]:
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
    name: str, points: Sequence[Point], anew: date | None = None
) -> FlowPointSeries:
    in_force = [
        point for point in points if point.record.corrected_by is None and not point.record.beside
    ]
    found = [point for point in in_force if not point.record.as_left]
    return FlowPointSeries(
        name=name,
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
