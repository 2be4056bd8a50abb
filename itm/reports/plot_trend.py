"""The trend plot: one flow point, or one property of a tank, over the years."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import pairwise
from math import isfinite

from itm.reports import plot_marks as marks
from itm.reports import plot_svg as svg
from itm.reports.plot_axis import Frame, axis
from itm.reports.plot_events import EVENT_ROW, event_lanes, event_marks
from itm.reports.plot_place import Box, Label, place, shorten, text_width
from itm.reports.plot_words import PERCENT, PlotWords

LONGEST_STEP = 548  # days: past a year and a half a result is missing, and the line is broken
WIDE_FROM = 480

Stroke = tuple[svg.Point, svg.Point]


@dataclass(frozen=True)
class TrendSeries:
    """The results of one flow point, or of one property at one point of a tank.

    points: (day, percent, low, high, limits, certainty, label) in any order; low and high are the
    ends of the 95 % interval or None; label may be "".
    bands: (since, lower, upper), each in force from its day to the next one's; since None means
    from the beginning; a side without a limit is infinite, and a time without any has two ends
    alike. baseline: (day, percent) of the acceptance test, or None.
    events: (day, words), such as a new lot or a repair.
    reported: (day, percent) of older papers, each a square of its own and joined to nothing.
    """

    name: str
    points: tuple[tuple[date, float, float | None, float | None, str, str, str], ...]
    bands: tuple[tuple[date | None, float, float], ...] = ()
    baseline: tuple[date, float] | None = None
    events: tuple[tuple[date, str], ...] = ()
    reported: tuple[tuple[date, float], ...] = ()
    words: PlotWords = PERCENT


def trend_plot(series: TrendSeries, *, width: int = 640, height: int = 0) -> str:
    """The plot as SVG text, drawn anew for each width; says so when there is no result yet."""
    if not series.points and not series.reported:
        return nothing_yet(series, width)
    points = sorted(series.points, key=lambda point: (point[0], point[1]))
    height = height or (380 if width >= WIDE_FROM else 360)
    size = 13.5 if width >= WIDE_FROM else 13
    rows = marks.key_rows(key_entries(series), width - 16, size)
    first, last = years(series)
    start = 14 + label_width(series, size)
    ends = width - 14.0
    draft = Frame(first, last, start, ends, axis(0, 1, start=1, end=0, most=1), size)
    lanes = event_lanes(series.events, draft)
    top = size * 2 + 4 + EVENT_ROW * (1 + max((lane for *_, lane in lanes), default=-1))
    floor = height - len(rows) * marks.KEY_LINE - size * 2.4
    low, high = reach(series)
    frame = Frame(first, last, start, ends, axis(low, high, start=floor, end=top, most=6), size)
    parts = [
        *ground(series, frame, floor),
        *baseline(series, frame),
        *event_marks(lanes, frame, floor),
        *reported(series, frame),
        *results(points, frame),
        *labels(series, points, frame, floor),
        *marks.draw_key(rows, 8, floor + size * 2.2, size),
    ]
    return svg.picture(width, height, title(series), parts)


def label_width(series: TrendSeries, size: float) -> float:
    """Of the widest number on the axis; an index has more digits than a percent."""
    up = axis(*reach(series), start=1, end=0, most=6)
    widest = max(text_width(up.label(tick), size, number=True) for tick in up.ticks())
    return max(widest, text_width("00.00", size, number=True))


def nothing_yet(series: TrendSeries, width: int) -> str:
    size = 14
    words = shorten(f"{series.name}: no results yet", size, width - 16)
    return svg.picture(
        width, 64, f"{series.name}: no results yet", [svg.text(8, 37, words, size=size, soft=True)]
    )


def title(series: TrendSeries) -> str:
    days = [day for day, *_ in series.points] + [day for day, _ in series.reported]
    count = len(series.points)
    outside = sum(1 for point in series.points if point[4] != "in band")
    results = "1 result" if count == 1 else f"{count} results"
    return (
        f"Trend of {series.name}: {results}, {min(days).year} to {max(days).year}, "
        f"{outside or 'none'} outside the {series.words.band}.{papers(series)} The tables have the "
        "figures."
    )


def papers(series: TrendSeries) -> str:
    count = len(series.reported)
    return f" {count} more as older papers report." if count else ""


def years(series: TrendSeries) -> tuple[int, int]:
    days = [day for day, *_ in series.points] + [day for day, _ in series.events]
    days += [day for day, _ in series.reported]
    if series.baseline:
        days.append(series.baseline[0])
    return min(days).year, max(days).year + 1


def reach(series: TrendSeries) -> tuple[float, float]:
    """Lowest and highest percent shown; a very long interval is cut at half the span beyond."""
    values = [percent for _, percent, *_ in series.points]
    values += [percent for _, percent in series.reported]
    values += [edge for _, *band in series.bands for edge in band if isfinite(edge)]
    if series.baseline:
        values.append(series.baseline[1])
    low, high = min(values), max(values)
    room = 0.5 * (high - low) or 0.1 * abs(high) or 1.0
    ends = [end for _, _, a, b, *_ in series.points for end in (a, b) if end is not None]
    low, high = max(min([low, *ends]), low - room), min(max([high, *ends]), high + room)
    air = 0.04 * (high - low)
    return low - air, high + air


def ground(series: TrendSeries, frame: Frame, floor: float) -> list[str]:
    up, size = frame.up, frame.size
    top = up.end
    marked = year_ticks(frame)
    every = range(frame.first, frame.last + 1)
    fine: list[Stroke] = [
        ((frame.start, up.at(v)), (frame.end, up.at(v))) for v in up.ticks(up.finer(9))
    ]
    gap = (frame.end - frame.start) / (frame.last - frame.first)
    for year in every if gap >= 6 else marked:
        x = frame.at(date(year, 1, 1))
        fine.append(((x, top), (x, floor)))
    main: list[Stroke] = [((frame.start, up.at(v)), (frame.end, up.at(v))) for v in up.ticks()]
    main += [((frame.start, top), (frame.start, floor))]
    main += [((x, floor), (x, floor + 5)) for x in (frame.at(date(year, 1, 1)) for year in marked)]
    return [
        svg.text(8, size * 1.2, series.words.axis, size=size),
        svg.segments(fine, kind="plot-grid", stroke=svg.GRID, width=1),
        *bands(series, frame),
        svg.segments(main, kind="plot-axis", stroke=svg.AXIS, width=1),
        *(
            svg.text(frame.start - 7, up.at(v) + size * 0.35, up.label(v),
                     size=size, anchor="end", number=True)
            for v in up.ticks()
        ),
        *(
            svg.text(frame.at(date(year, 1, 1)), floor + size * 1.55, str(year),
                     size=size, anchor=year_anchor(year, frame), number=True)
            for year in marked
        ),
    ]  # fmt: skip


def year_ticks(frame: Frame) -> list[int]:
    """Years that are named: as many as leave room between them, at round distances.

    The last one ends at its tick, so it needs half its width more towards the one before.
    """
    width = text_width("0000", frame.size, number=True)
    a_year = (frame.end - frame.start) / (frame.last - frame.first)

    def fit(step: int) -> bool:
        ends_there = frame.last % step == 0
        return step * a_year >= width * (1.5 if ends_there else 1) + 12

    step = next((one for one in (1, 2, 5, 10, 20, 50) if fit(one)), 100)
    return [year for year in range(frame.first, frame.last + 1) if year % step == 0]


def year_anchor(year: int, frame: Frame) -> str:
    """The last year would run over the edge if it stood in the middle under its tick."""
    return "end" if year == frame.last else "middle"


def bands(series: TrendSeries, frame: Frame) -> list[str]:
    """The acceptance band as it stood at the time: a new criterion makes a step."""
    ordered = sorted(series.bands, key=lambda band: (band[0] is not None, band[0] or date.min))
    parts, edges = [], []
    for i, (since, lower, upper) in enumerate(ordered):
        left = frame.start if since is None or i == 0 else max(frame.start, frame.at(since))
        following = ordered[i + 1][0] if i + 1 < len(ordered) else None
        right = frame.end if following is None else min(frame.end, frame.at(following))
        if right <= left or lower == upper:
            continue
        top, bottom = (frame.up.at(frame.up.clip(edge)) for edge in (upper, lower))
        parts.append(svg.hatch(left, top, right, bottom))
        limits = ((upper, top), (lower, bottom))
        edges += [((left, y), (right, y)) for edge, y in limits if isfinite(edge)]
    parts.append(svg.segments(edges, kind="plot-hatch", stroke=svg.HATCH, width=1.4))
    return parts


def baseline(series: TrendSeries, frame: Frame) -> list[str]:
    return [
        svg.segments(
            baseline_stroke(series, frame), kind="plot-ink", stroke=svg.INK, width=1.2, dash="7 4"
        )
    ]


def baseline_stroke(series: TrendSeries, frame: Frame) -> list[Stroke]:
    if series.baseline is None:
        return []
    day, percent = series.baseline
    y = frame.up.at(percent)
    return [((frame.at(day), y), (frame.end, y))]


def results(
    points: Sequence[tuple[date, float, float | None, float | None, str, str, str]], frame: Frame
) -> list[str]:
    at_x, up = frame.at, frame.up
    joined: list[Stroke] = []
    parts = []
    for one, two in pairwise(points):
        ends = ((at_x(one[0]), up.at(one[1])), (at_x(two[0]), up.at(two[1])))
        if (two[0] - one[0]).days <= LONGEST_STEP:
            joined.append(ends)
        else:
            parts += gap_words(ends, frame)
    bars: list[Stroke] = []
    for day, _, low, high, *_ in points:
        if low is None or high is None:
            continue
        x = at_x(day)
        bars.append(((x, up.at(up.clip(low))), (x, up.at(up.clip(high)))))
        bars += [((x - 4, up.at(end)), (x + 4, up.at(end))) for end in (low, high) if up.holds(end)]
    half = 5.5 if len(points) <= 15 else 4.2
    return [
        svg.segments(joined, kind="plot-line", stroke=svg.BLUE, width=1.8),
        svg.segments(bars, kind="plot-ink", stroke=svg.INK, width=1.4),
        *parts,
        *(
            marks.verdict_mark(
                limits, at_x(day), up.at(percent), half, hollow=certainty != "settled"
            )
            for day, percent, _, _, limits, certainty, _ in points
        ),
    ]


def reported(series: TrendSeries, frame: Frame) -> list[str]:
    """Squares, the one shape that no verdict has: nothing was judged here."""
    half = 4.2 if len(series.reported) <= 30 else 3.0
    return [
        marks.square(frame.at(day), frame.up.at(percent), half) for day, percent in series.reported
    ]


def gap_words(ends: Stroke, frame: Frame) -> list[str]:
    """Says in the gap itself that a result is missing, where the gap is wide enough."""
    (x1, y1), (x2, y2) = ends
    wide = text_width("no result", frame.size) + 4
    if x2 - x1 < wide + 16:
        return []
    x, y = (x1 + x2) / 2, (y1 + y2) / 2
    return [
        svg.veil(x - wide / 2, y - frame.size * 0.75, x + wide / 2, y + frame.size * 0.55),
        svg.text(x, y + frame.size * 0.35, "no result",
                 size=frame.size, anchor="middle", soft=True),
    ]  # fmt: skip


def labels(
    series: TrendSeries,
    points: Sequence[tuple[date, float, float | None, float | None, str, str, str]],
    frame: Frame,
    floor: float,
) -> list[str]:
    """Words beside results, and at the baseline, where there is a free place for them."""
    at_x, up, size = frame.at, frame.up, frame.size
    wanted = []
    boxes = []
    for day, percent, low, high, _, _, words in points:
        x = at_x(day)
        top, bottom = (up.at(up.clip(percent if end is None else end)) for end in (high, low))
        boxes.append(
            Box(x - 7, min(top, up.at(percent) - 7), x + 7, max(bottom, up.at(percent) + 7))
        )
        if words:
            wanted.append(Label(x, up.at(percent), words, size, needed=False))
    if series.baseline:
        wanted.insert(0, Label(frame.end + 8, up.at(series.baseline[1]) - size,
                               series.words.baseline, size, bold=True, needed=False))  # fmt: skip
    strokes = [
        (at_x(one[0]), up.at(one[1]), at_x(two[0]), up.at(two[1])) for one, two in pairwise(points)
    ]
    strokes += [(a, b, c, d) for (a, b), (c, d) in baseline_stroke(series, frame)]
    placed = place(
        wanted,
        field=Box(frame.start + 2, up.end, frame.end + 2, floor),
        marks=boxes,
        line=strokes,
    )
    parts = []
    for spot in placed:
        box, label = spot.box, spot.label
        parts.append(svg.veil(box.left, box.top, box.right, box.bottom))
        parts.append(
            svg.text(box.left + 2, box.bottom - size * 0.33, label.words, size=size, soft=True)
        )
    return parts


def key_entries(series: TrendSeries) -> list[marks.KeyEntry]:
    """Only what this plot shows."""

    def verdict(limits: str, hollow: bool = False) -> Callable[[float, float], str]:
        return lambda x, y: marks.verdict_mark(limits, x, y, 5, hollow=hollow)

    shown = {point[4] for point in series.points}
    entries = [
        marks.KeyEntry(verdict(limits), series.words.side(limits))
        for limits in ("in band", "lean", "rich")
        if limits in shown
    ]
    if any(point[5] != "settled" for point in series.points):
        entries.append(marks.KeyEntry(verdict("in band", hollow=True), "hollow: undecided"))
    if series.reported:
        square = partial(marks.square, half=4.2)
        entries.append(marks.KeyEntry(square, "as older papers report"))
    if any(point[2] is not None for point in series.points):
        entries.append(marks.KeyEntry(upright, "95 % interval"))
    if series.bands:
        entries.append(marks.KeyEntry(marks.hatch_swatch, series.words.band))
    if series.baseline:
        entries.append(marks.KeyEntry(marks.stroke_swatch(1.2, "7 4"), series.words.baseline))
    return entries


def upright(x: float, y: float) -> str:
    return svg.segments(
        [
            ((x, y - 7), (x, y + 7)),
            ((x - 4, y - 7), (x + 4, y - 7)),
            ((x - 4, y + 7), (x + 4, y + 7)),
        ],
        kind="plot-ink",
        stroke=svg.INK,
        width=1.4,
    )
