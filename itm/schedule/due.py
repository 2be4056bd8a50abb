"""What is due: pure rules over dates. No rows, no clock; today is an argument.

The cycles of a device follow from its whole history every time, so that a record handed in late,
out of order or amended comes out right without a rule of its own.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal
from uuid import UUID

from itm.core.clock import add_months

Cause = Literal["periodic", "retest", "event", "once"]
Unit = Literal["months", "days", "calendar_months", "calendar_weeks"]
Name = Literal["ahead", "open", "due", "overdue"]

# Days in which a device that tested lean, rich or undecided has to be tested again: own choice,
# no source.
RETEST_DAYS = 30


@dataclass(frozen=True)
class Window:
    """From the last completion: earliest that counts, interval, latest. The figures belong to the
    requirement's row: ship rules allow no room where land rules allow nine to fifteen months.

    In calendar months and weeks the three count whole months or weeks of the calendar, and the
    spacing of the days says nothing: once in every month is 31 March and then 1 April.
    """

    earliest: int
    interval: int
    latest: int
    unit: Unit = "months"
    first: int | None = None  # interval and latest of the very first cycle, where it may be longer

    def opens(self, counts_from: date) -> date:
        if self.unit in ("calendar_months", "calendar_weeks"):
            return begins(counts_from, self.earliest, self.unit)
        return later(counts_from, self.earliest, self.unit)

    def closes(self, counts_from: date) -> date:
        if self.unit in ("calendar_months", "calendar_weeks"):
            return begins(counts_from, self.latest + 1, self.unit) - timedelta(days=1)
        return later(counts_from, self.latest, self.unit)

    def due(self, counts_from: date) -> date:
        """The interval counted from the day of the work, inside the window."""
        day = later(counts_from, self.interval, self.unit)
        return min(max(day, self.opens(counts_from)), self.closes(counts_from))


def later(day: date, count: int, unit: Unit) -> date:
    if unit in ("months", "calendar_months"):
        return add_months(day, count)
    return day + timedelta(days=count * (7 if unit == "calendar_weeks" else 1))


def begins(day: date, count: int, unit: Unit) -> date:
    """The first day of the month or week so many after that of `day`. Weeks begin on Monday.

    Source: ISO 8601-1:2019 for weeks, from memory; months are those of the calendar.
    """
    if unit == "calendar_months":
        return add_months(day.replace(day=1), count)
    return day - timedelta(days=day.weekday()) + timedelta(weeks=count)


@dataclass(frozen=True)
class Result:
    """What a sealed record that no other one corrects says about its device."""

    tested_on: date
    limits: str  # "in band" or how it was not, of the worst flow point or property
    certainty: str  # "settled" or "undecided", of the worst flow point
    purpose: str
    phase: str  # "as_found" or "as_left"
    key: UUID

    @property
    def proves(self) -> bool:
        return self.limits == "in band" and self.certainty == "settled"


@dataclass(frozen=True)
class Cycle:
    """One turn of a duty: from the day it counts from to the day it was done, if it was."""

    cause: Cause
    counts_from: date
    window_opens_on: date
    due_on: date
    latest_on: date
    done_on: date | None = None
    done_by: UUID | None = None


def cycles(window: Window, started_on: date, results: Iterable[Result]) -> list[Cycle]:
    """All cycles that a history makes, in the order in which they begin."""
    ordered = in_order(results)
    both = [*periodic_cycles(window, started_on, ordered), *retest_cycles(ordered)]
    return sorted(both, key=lambda cycle: (cycle.counts_from, cycle.cause))


def in_order(results: Iterable[Result]) -> list[Result]:
    """By day; as left comes after as found. What is equal in both stays in the order given."""
    return sorted(results, key=lambda result: (result.tested_on, result.phase == "as_left"))


def periodic_cycles(window: Window, started_on: date, results: Sequence[Result]) -> list[Cycle]:
    """Commissioning starts the first cycle, a test inside its window ends it and starts the next.

    A test before the window opens stays a record and completes nothing. A late test ends the one
    cycle it is late for: no cycle is made up for the years between, `missed_tests` counts them.
    """
    current = periodic_cycle(window, started_on)
    out = []
    for result in results:
        if result.tested_on < current.window_opens_on or result.tested_on <= current.counts_from:
            continue
        out.append(replace(current, done_on=result.tested_on, done_by=result.key))
        current = periodic_cycle(window, result.tested_on)
    return [*out, current]


def periodic_cycle(window: Window, counts_from: date, *, first: bool = False) -> Cycle:
    if first and window.first is not None:
        window = replace(window, interval=window.first, latest=window.first, first=None)
    return Cycle(
        cause="periodic",
        counts_from=counts_from,
        window_opens_on=window.opens(counts_from),
        due_on=window.due(counts_from),
        latest_on=window.closes(counts_from),
    )


def retest_cycles(results: Sequence[Result]) -> list[Cycle]:
    """A result that does not prove the device opens a retest; the next test, whatever its purpose,
    ends it and may open another. Where the test was as found, as left of that day is the next."""
    out: list[Cycle] = []
    current: Cycle | None = None
    for result in results:
        if current is not None:
            out.append(replace(current, done_on=result.tested_on, done_by=result.key))
        current = None if result.proves else retest_cycle(result)
    return out if current is None else [*out, current]


def retest_cycle(result: Result) -> Cycle:
    """Outside the limits the retest is due the same day; undecided inside them within the days
    that also bound the first. Both are our own choice, no source."""
    last = result.tested_on + timedelta(days=RETEST_DAYS)
    return Cycle(
        cause="retest",
        counts_from=result.tested_on,
        window_opens_on=result.tested_on,
        due_on=last if result.limits == "in band" else result.tested_on,
        latest_on=last,
    )


@dataclass(frozen=True)
class Standing:
    """Where a duty stands on a day, and the days to its next boundary.

    ahead: days until the window opens; open: until it is due; due: that are left, 0 on the last
    day; overdue: since the last day.
    """

    name: Name
    days: int

    @property
    def words(self) -> str:
        count = f"{self.days} day" if self.days == 1 else f"{self.days} days"
        if self.name == "ahead":
            return f"window opens in {count}"
        if self.name == "open":
            return f"due in {count}"
        if self.name == "due":
            return f"{count} left" if self.days else "today is the last day"
        return f"{count} late"


def standing(window_opens_on: date, due_on: date, latest_on: date, today: date) -> Standing:
    """Ahead before the window opens; open from then to the day before the due date; due from the
    due date to the latest day, both included; overdue after it. The due date itself is "due", our
    own choice where the interval could be read either way."""
    if today > latest_on:
        return Standing("overdue", (today - latest_on).days)
    if today >= due_on:
        return Standing("due", (latest_on - today).days)
    if today >= window_opens_on:
        return Standing("open", (due_on - today).days)
    return Standing("ahead", (window_opens_on - today).days)


def changes_on(name: Name, window_opens_on: date, due_on: date, latest_on: date) -> date | None:
    """The first day on which this standing no longer holds; none once overdue."""
    if name == "overdue":
        return None
    if name == "due":
        return latest_on + timedelta(days=1)
    return due_on if name == "open" else window_opens_on


def days_missed(latest_on: date, until: date) -> int:
    """Days between the last allowed day and the day it was done, or today; 0 when in time."""
    return max(0, (until - latest_on).days)


def missed_tests(window: Window, counts_from: date, until: date) -> int:
    """How many a gap swallowed: every interval whose own latest day passed without one."""
    count = 0
    while replace(window, latest=window.latest + count * window.interval).closes(counts_from) < (
        until
    ):
        count += 1
    return count


@dataclass(frozen=True)
class Creep:
    """How far the due date has wandered while each cycle was inside its window."""

    done: int
    intervals: int  # whole intervals from the first day counted to the last day done
    since: date
    until: date

    @property
    def lost(self) -> int:
        return max(0, self.intervals - self.done)


def creep(window: Window, done: Sequence[tuple[date, date]]) -> Creep | None:
    """From (counted from, done on) in the order of the work; none where nothing was done."""
    if not done:
        return None
    since, until = done[0][0], done[-1][1]
    intervals = 0
    while later(since, (intervals + 1) * window.interval, window.unit) <= until:
        intervals += 1
    return Creep(len(done), intervals, since, until)
