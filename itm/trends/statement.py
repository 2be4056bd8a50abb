"""What years of results say, in sentences: steps at known events, drift, baseline, the limit ahead.

`calc.trend` judges and this is the one place for the words, so that page, hints and whatever else
shows a trend cannot disagree. Below its counts the engine says nothing, and so does this: a refusal
is a sentence too.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import floor, log10

from calc import trend as engine
from calc.acceptance import LEAN, RICH, Band, decimal_as_written
from calc.kendall import FEWEST
from calc.properties import ABOVE, BELOW
from itm.core.figures import MINUS, chance, day
from itm.trends.events import ADJUSTED, CHANGED_OVER, LOT, REPAIR, TOPPED_UP, Event
from itm.trends.queries import FlowPointSeries, Point

SIDES = {BELOW: LEAN, ABOVE: RICH}
# In days. What is adjusted or repaired on a test day lies after its result as found, and so does a
# top-up, which makes good what the test drew; a fill, a changeover and a meter are there before it.
WORKDAY = 0.5
AFTER_THE_TEST = frozenset({ADJUSTED, REPAIR, TOPPED_UP})
TURNS = {engine.RISING: "rising", engine.FALLING: "falling"}
STEPS = {engine.STEP_UP: "up", engine.STEP_DOWN: "down"}


@dataclass(frozen=True)
class Voice:
    """How a series is spoken of: what it is, how a difference and a value are written, what stands
    at its start, and the words for its two sides. Without a band there is nothing to leave."""

    subject: str
    difference: Callable[[float], str]
    end: Callable[[float], str]  # of an interval of differences, without the unit
    gap: Callable[[float], str]  # a difference without its sign
    value: Callable[[float], str]
    start: str
    sides: Mapping[str, str]
    band: str


@dataclass(frozen=True)
class Statement:
    """`sentences` for the page; the rest for whoever asks what was found."""

    sentences: tuple[str, ...]
    falling: bool
    steps: tuple[tuple[str, str], ...]  # kind of event, up or down


def statement(series: FlowPointSeries, events: Sequence[Event]) -> Statement | None:
    """None where nothing was measured. As found and in force only, as the plot joins them."""
    if not series.points:
        return None
    changes = [event for event in events if event.changes]
    start = series.baseline
    found = found_in(series, changes)
    kinds = {(moment(event), event.words): event.kind for event in changes}
    apart = [] if start is not None and is_first(series, start) else baseline_words(found, PERCENT)
    sentences = sentences_of(found, changes, apart, PERCENT)
    return Statement(
        sentences=tuple(sentences),
        falling=found.present is not None and found.present.statement == engine.FALLING,
        steps=tuple(
            (kinds[event.day, event.what], STEPS[step.statement])
            for step in found.steps
            if step.statement in STEPS
            for event in step.events
        ),
    )


def found_in(series: FlowPointSeries, changes: Sequence[Event]) -> engine.Trend:
    """What the engine finds in a series with points; it may step at each of `changes`."""
    start = series.baseline
    return engine.trend(
        [point_of(point) for point in series.points],
        [engine.Event(moment(event), event.words) for event in changes],
        (start.result.percent, start.result.standard_uncertainty) if start else None,
        band_of(series),
    )


def is_first(series: FlowPointSeries, start: Point) -> bool:
    """The baseline is no distance from itself."""
    return series.points[-1].record.key == start.record.key


def sentences_of(
    found: engine.Trend, changes: Sequence[Event], apart: Sequence[str], voice: Voice
) -> list[str]:
    """Steps, drift, what stands apart, the distance from the start, what lies ahead."""
    return [
        *(step_words(step, voice) for step in found.steps),
        drift_words(found, changes, voice),
        *apart_words(found, voice),
        *apart,
        *(ahead_words(found, voice) if voice.band else ()),
    ]


def history(statements: Sequence[Statement | None], side: str) -> list[str]:
    """What the years speak for where a test is `side`, as calc.hints names it."""
    known = [one for one in statements if one is not None]
    turned = {LEAN: "down", RICH: "up"}[side]
    steps = {kind for one in known for kind, turn in one.steps if turn == turned}
    found = ["falling"] if side == LEAN and any(one.falling for one in known) else []
    found += ["step_after_fill"] if {LOT, TOPPED_UP, CHANGED_OVER} & steps else []
    return found + (["step_after_repair"] if {ADJUSTED, REPAIR} & steps else [])


def point_of(point: Point) -> engine.Point:
    result = point.result
    return engine.Point(
        float(point.tested_on.toordinal()), result.percent, result.standard_uncertainty
    )


def moment(event: Event) -> float:
    return event.day.toordinal() + (WORKDAY if event.kind in AFTER_THE_TEST else 0)


def band_of(series: FlowPointSeries) -> Band:
    """The band that the latest record froze."""
    lower, upper = series.points[-1].band
    return Band(decimal_as_written(lower, "lower"), decimal_as_written(upper, "upper"))


# Words ------------------------------------------------------------------------------------------


def step_words(step: engine.Step, voice: Voice) -> str:
    named = " and ".join(f"{event.what} ({calendar(event.day)})" for event in step.events)
    counts = f"{step.before} before, {step.after} after"
    if step.statement == engine.TOO_FEW:
        return (
            f"At {named}: too few results to tell a step from scatter ({counts}; four against "
            "four are enough, three against five, or two against eight)."
        )
    low, high = step.shift.low, step.shift.high
    size = f"{voice.difference(step.shift.middle)}, 95 % interval {interval(low, high, voice)}"
    if step.statement == engine.NOT_SHOWN:
        return f"At {named}: no step is shown ({size}; {counts})."
    return (
        f"At {named}: a step {STEPS[step.statement]} by {size} ({counts}); chance alone gives as "
        f"much in {chance(step.shift.p, 0.05)} of 100 such series. A slow drift across that day "
        "looks the same."
    )


def drift_words(found: engine.Trend, changes: Sequence[Event], voice: Voice) -> str:
    drift = found.present
    if drift is None:
        last = max(changes, key=lambda event: event.day)
        return f"Nothing was measured since {last.words} ({day(last.day)})."
    many = f"{drift.count} result{'s'[: drift.count != 1]}"
    since = f"since {calendar(drift.first_day)}"
    if drift.statement == engine.TOO_FEW or drift.slope is None or drift.test is None:
        return (
            f"Too few results for a trend: {many} {since}, and below {FEWEST} no order of them is "
            "rare enough to mean anything."
        )
    slope = drift.slope
    ends = interval(slope.low, slope.high, voice)
    size = f"{voice.difference(slope.slope)} a year, 95 % interval {ends}"
    often = f"chance alone gives such an order in {chance(drift.test.p, 0.05)} of 100 series"
    if drift.statement == engine.NOT_SHOWN:
        return f"No trend is shown by {many} {since}: {size}; {often}."
    return f"{voice.subject} is {TURNS[drift.statement]} {since} ({many}): {size}; {often}."


def apart_words(found: engine.Trend, voice: Voice) -> list[str]:
    drift = found.present
    if drift is None or drift.apart is None:
        return []
    return [
        f"The result of {calendar(drift.apart.day)} ({voice.value(drift.apart.value)}) stands "
        "apart from the others. It stays in: slope and trend go by ranks and bear it."
    ]


def baseline_words(found: engine.Trend, voice: Voice) -> list[str]:
    apart = found.baseline
    if apart is None:
        return []
    sure = "" if apart.low is None else f", 95 % interval {interval(apart.low, apart.high, voice)}"
    where = "above" if apart.difference > 0 else "below"
    size = voice.gap(abs(apart.difference))
    share = f"{abs(apart.share):.0f}"
    beside = "" if share == "0" else f" ({share} %)"
    return [f"The latest result lies {size}{beside} {where} {voice.start}{sure}."]


def ahead_words(found: engine.Trend, voice: Voice) -> list[str]:
    """The forecast, or why there is none."""
    drift = found.present
    if drift is None or drift.statement == engine.TOO_FEW:
        return [f"No date of leaving {voice.band} is forecast from so few results."]
    side = found.latest_side or ""
    if side in voice.sides:
        return [f"The latest result is {voice.sides[side]}: there is no date to forecast."]
    if not found.leaving:
        return [
            f"Even at the steepest slope of the interval it stays in {voice.band} for 30 years."
        ]
    if drift.statement == engine.NOT_SHOWN:
        sooner = [
            f"{voice.sides[one.side]} from {calendar(one.earliest_day)}"
            for one in found.leaving
            if one.earliest_day is not None
        ]
        return [
            "Without a trend there is no date to plan by; at the steepest slopes of the interval "
            f"it would be {' or '.join(sooner)} at the earliest."
        ]
    return [leaving_words(one, voice) for one in found.leaving]


def leaving_words(left: engine.Leaving, voice: Voice) -> str:
    side = voice.sides[left.side]
    first = calendar(left.earliest_day) if left.earliest_day is not None else ""
    if left.likely_day is None:
        return (
            f"At the steepest slope of the interval it would be {side} from {first}; at the middle "
            "slope not within 30 years."
        )
    likely = f"likely {calendar(left.likely_day)}"
    if left.latest_day is None:
        return (
            f"If it goes on like this it is {side} from {first} at the earliest, {likely}; at the "
            "flattest slope of the interval not within 30 years. Wear need not go on as it did."
        )
    return (
        f"If it goes on like this it is {side} between {first} and {calendar(left.latest_day)}, "
        f"{likely}. Wear need not go on as it did."
    )


def calendar(ordinal: float) -> str:
    return day(date.fromordinal(floor(ordinal)))


def points(value: float) -> str:
    return f"{signed(value)} points"


def interval(low: float | None, high: float | None, voice: Voice) -> str:
    if low is None or high is None:
        return "open: too few results"
    return f"{voice.end(low)} to {voice.end(high)}"


def signed(value: float) -> str:
    """Two significant digits of what is small, two decimals of the rest; a minus that is one."""
    digits = 2 if abs(value) >= 0.1 or value == 0 else min(1 - floor(log10(abs(value))), 3)
    shown = f"{value:+.{digits}f}"
    return shown.replace("-", MINUS) if float(shown) else "0"


PERCENT = Voice(
    subject="The percent",
    difference=points,
    end=signed,
    gap=lambda value: f"{value:.2f} points",
    value=lambda value: f"{value:.2f} %",
    start="the acceptance test",
    sides=SIDES,
    band="the band",
)
