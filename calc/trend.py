"""What years of results say: steps at known events, then drift within one regime, then the limit.

A change of method, instrument, lot or part is a known event. Drift is only looked for between two
of them, so that a new lot is not read as wear.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from statistics import median

from calc.acceptance import IN_BAND, LEAN, RICH, Band, limits
from calc.arguments import not_negative, numbers, positive
from calc.errors import CalcError
from calc.kendall import FEWEST, LEVEL, MannKendall, TheilSen, cut_off, mann_kendall, theil_sen
from calc.outlying import outlying
from calc.properties import ABOVE, BELOW, WITHIN
from calc.ranks import Shift, shift_between
from calc.student import coverage_factor
from calc.sums import ordered_mean

YEAR = 365.25  # days, Julian year
SIDES = {IN_BAND: WITHIN, LEAN: BELOW, RICH: ABOVE}  # a series may be of any property
HORIZON = 30 * YEAR  # days, own choice: nobody plans further than a system lasts
NEAREST = 20  # results on each side of an event, own choice: older ones say more about drift
TOO_FEW, NOT_SHOWN = "too few results", "not shown"
RISING, FALLING = "rising", "falling"
STEP_UP, STEP_DOWN = "step up", "step down"


@dataclass(frozen=True, slots=True)
class Point:
    """One result of the series."""

    day: float  # days from any origin
    value: float
    u_value: float | None = None  # standard uncertainty, where the record has one


@dataclass(frozen=True, slots=True)
class Event:
    """A known change. A result of the same day counts as after it."""

    day: float
    what: str


@dataclass(frozen=True, slots=True)
class Step:
    """The change between two regimes, across the events that lie between them."""

    events: tuple[Event, ...]
    before: int  # results
    after: int
    shift: Shift
    statement: str  # too few results | not shown | step up | step down


@dataclass(frozen=True, slots=True)
class Drift:
    """Slope and trend within one regime; slopes per year. None where one result stands alone."""

    first_day: float
    last_day: float
    count: int  # different days
    statement: str  # too few results | not shown | rising | falling
    slope: TheilSen | None
    test: MannKendall | None
    apart: Point | None = None  # one result that stands apart from the others


@dataclass(frozen=True, slots=True)
class Difference:
    """Latest result less the acceptance baseline, two-sided 95 % where both are uncertain."""

    difference: float
    share: float  # of the baseline, %
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Leaving:
    """When the results leave the band on one side; None where not within 30 years."""

    side: str  # below | above
    earliest_day: float | None
    likely_day: float | None
    latest_day: float | None


@dataclass(frozen=True, slots=True)
class Trend:
    """All that the series says. `present` is None when nothing was measured since an event."""

    steps: tuple[Step, ...]
    drifts: tuple[Drift, ...]
    present: Drift | None
    baseline: Difference | None
    latest_side: str | None  # within | below | above the band, by the plain value
    leaving: tuple[Leaving, ...]


def trend(
    points: Sequence[Point],
    events: Sequence[Event] = (),
    baseline: tuple[float, float | None] | None = None,
    allowed: Band | None = None,
) -> Trend:
    """Everything that a series of results says, and no more.

    Parameters
    ----------
    points : at least 1, any order. Results of one flow point or of one property of a tank.
    events : known changes, any order.
    baseline : result of the acceptance test and its standard uncertainty or None, unit of values.
    allowed : Band, unit of values, or None. A side without a limit is infinite, and is never left.

    Returns
    -------
    Trend.

    Raises: empty_list, not_a_number, not_finite, out_of_range, beyond_numbers.
    Notes: results of one day in one regime count once, as their mean. A forecast rests on the
    present regime alone and needs a latest result inside the band.
    Source: Helsel and Hirsch, USGS TM 4-A3, chapters 10 and 12. Check: tests/calc/test_trend.py.
    """
    if not points:
        raise CalcError("empty_list", "points")
    series = _sorted(points)
    changes = sorted(events, key=lambda event: (event.day, event.what))
    regimes = _regimes(series, changes)
    drifts = tuple(drift(regime) for _, regime in regimes)
    is_open = regimes[-1][0] == len(changes)
    latest = regimes[-1][1][-1]
    side = SIDES[limits(latest.value, allowed)] if allowed else None
    ahead = allowed is not None and side == WITHIN and is_open
    return Trend(
        steps=_steps(regimes, changes),
        drifts=drifts,
        present=drifts[-1] if is_open else None,
        baseline=difference(latest, *baseline) if baseline else None,
        latest_side=side,
        leaving=leaving(regimes[-1][1], allowed) if allowed and ahead else (),
    )


def drift(points: Sequence[Point]) -> Drift:
    """Slope and trend of one regime.

    Parameters
    ----------
    points : at least 1, one for a day, first to last.

    Returns
    -------
    Drift, slopes per year.

    Raises: beyond_numbers.
    Notes: below 5 results no order of them is rare enough (4 rising ones: 2/4! = 0.083). A result
    that stands apart is named and stays in: slope and trend go by ranks and bear it. It is looked
    for where every result has an uncertainty, below which the scatter never counts.
    Source: Gilbert 1987, 16.4; Sen 1968; Grubbs 1969. Check: fixtures/reference/check-values.json
    H-01, H-06, H-09.
    """
    first, last, count = points[0].day, points[-1].day, len(points)
    if count < 2:
        return Drift(first, last, count, TOO_FEW, None, None)
    values = [point.value for point in points]
    slope = theil_sen([(point.day - first) / YEAR for point in points], values)
    test = mann_kendall(values)
    if count < FEWEST:
        statement = TOO_FEW
    elif test.p > LEVEL:
        statement = NOT_SHOWN
    else:
        statement = RISING if test.s > 0 else FALLING
    return Drift(first, last, count, statement, slope, test, _apart(points))


def _apart(points: Sequence[Point]) -> Point | None:
    known = [point.u_value for point in points if point.u_value is not None]
    if len(points) < FEWEST or len(known) < len(points):
        return None
    found = outlying([point.value for point in points], least_sd=median(known))
    return points[found.index] if found.stands_apart else None


def difference(latest: Point, baseline: float, u_baseline: float | None) -> Difference:
    """How far the latest result lies from the acceptance test.

    Parameters
    ----------
    latest : Point.
    baseline : > 0, unit of the values.
    u_baseline : > 0, or None where the old record has none.

    Returns
    -------
    Difference; an interval only where both have a standard uncertainty.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: root sum of squares, normal factor. One instrument used twice shares its errors, which
    makes the interval wider than needed.
    Source: JCGM 100:2008, 5.1.2. Check: tests/calc/test_trend.py.
    """
    start = float(positive("baseline", baseline))
    apart = latest.value - start
    if latest.u_value is None or u_baseline is None:
        return Difference(apart, 100 * apart / start, None, None)
    u_start = float(not_negative("u_baseline", u_baseline))
    half = float(coverage_factor(math.inf)) * math.hypot(latest.u_value, u_start)
    return Difference(apart, 100 * apart / start, apart - half, apart + half)


def leaving(points: Sequence[Point], allowed: Band) -> tuple[Leaving, ...]:
    """When a regime that goes on as it did leaves its band.

    Parameters
    ----------
    points : one for a day, first to last, the last one inside the band.
    allowed : Band, unit of the values; an infinite side is never reached.

    Returns
    -------
    One Leaving for each side that is reached within 30 years by any slope of the interval; none
    below 5 results.

    Raises: beyond_numbers.
    Notes: from the steepest slope of the 95 % interval and the level nearest to the limit to the
    flattest slope and the level farthest from it; the level is the interval of the median of the
    residuals. No date lies before the latest result. Wear need not go on as it did.
    Source: Helsel and Hirsch, USGS TM 4-A3, chapter 10 (slope and its interval); both bounds taken
    together: own choice, covers at least as often as stated. Check: tests/calc/test_trend.py.
    """
    if len(points) < FEWEST:
        return ()
    middle = median(point.day for point in points)
    x = [point.day - middle for point in points]
    y = [point.value for point in points]
    line = theil_sen(x, y)
    found = []
    for side, limit, sign in ((BELOW, allowed.lower, -1), (ABOVE, allowed.upper, 1)):
        towards, room = [sign * value for value in y], sign * float(limit)
        slopes = (line.low, line.slope, line.high)
        quick, likely, slow = sorted(sign * slope for slope in slopes if slope is not None)[::-1]
        days = [
            _reached(x, towards, room, quick, "high"),
            _reached(x, towards, room, likely, "middle"),
            _reached(x, towards, room, slow, "low"),
        ]
        if days[0] is not None:
            found.append(Leaving(side, *(None if d is None else d + middle for d in days)))
    return tuple(found)


def _reached(
    x: Sequence[float], y: Sequence[float], limit: float, slope: float, level: str
) -> float | None:
    """Day on which a rising line reaches a limit from below; None when not within the horizon."""
    rest = sorted(value - slope * day for day, value in zip(x, y, strict=True))
    count = len(rest)
    m = max(cut_off([math.comb(count, k) for k in range(count + 1)]), 1)
    start = {"low": rest[m - 1], "middle": median(rest), "high": rest[-m]}[level]
    if slope <= 0:
        return None
    day = max((limit - start) / slope, x[-1])
    return day if day <= x[-1] + HORIZON else None


def _sorted(points: Sequence[Point]) -> list[Point]:
    for point in points:
        numbers("day", point.day)
        numbers("value", point.value)
        if point.u_value is not None:
            not_negative("u_value", point.u_value)
    return sorted(points, key=lambda p: (p.day, p.value, p.u_value or 0.0))


def _regimes(series: Sequence[Point], changes: Sequence[Event]) -> list[tuple[int, list[Point]]]:
    """Results between two events, with the number of events before them; one result a day."""

    def passed(point: Point) -> int:
        return sum(event.day <= point.day for event in changes)

    return [(number, _one_a_day(list(group))) for number, group in groupby(series, passed)]


def _one_a_day(points: Sequence[Point]) -> list[Point]:
    days = groupby(points, lambda point: point.day)
    return [_mean(list(group)) for _, group in days]


def _mean(points: Sequence[Point]) -> Point:
    """One result for a day; its uncertainty is the largest, since one instrument read them all."""
    known = [point.u_value for point in points if point.u_value is not None]
    u_value = max(known) if len(known) == len(points) else None
    return Point(points[0].day, float(ordered_mean([point.value for point in points])), u_value)


def _steps(
    regimes: Sequence[tuple[int, list[Point]]], changes: Sequence[Event]
) -> tuple[Step, ...]:
    found = []
    for (start, before), (end, after) in pairwise(regimes):
        shift = shift_between(
            [point.value for point in before[-NEAREST:]], [point.value for point in after[:NEAREST]]
        )
        if shift.low is None:
            statement = TOO_FEW
        elif shift.p > LEVEL:
            statement = NOT_SHOWN
        else:
            statement = STEP_UP if shift.middle > 0 else STEP_DOWN
        found.append(Step(tuple(changes[start:end]), len(before), len(after), shift, statement))
    return tuple(found)
