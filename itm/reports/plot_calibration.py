"""The calibration plot: percent across, reading up, and how each flow point was read off."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from itm.reports import plot_marks as marks
from itm.reports import plot_svg as svg
from itm.reports.plot_axis import MINUS, Axis, axis, decimals, number, round_step
from itm.reports.plot_place import Box, Label, Placed, place, shorten, text_width

LANE = 11  # height of one interval bar's lane above the percent axis
STRIP = 46  # height of the residual strip
WIDE_FROM = 480

Stroke = tuple[svg.Point, svg.Point]


@dataclass(frozen=True)
class CalibrationCurve:
    """What one bench gave.

    points: (percent, reading, label, in_fit) of each standard and of water, as made and as read.
    flow_points: (name, reading, percent, low, high, limits); low and high are the ends of the 95 %
    interval or None; one without a reading or a percent is not drawn.
    samples: (percent, reading, name) of each bottle. set_aside: (percent, reading).
    band: (lower, upper) of acceptance, in percent; None where flow points differ in it.
    quantity: what the reading is, with its unit.
    """

    points: tuple[tuple[float, float, str, bool], ...]
    slope: float
    intercept: float
    band: tuple[float, float] | None
    flow_points: tuple[tuple[str, float | None, float | None, float | None, float | None, str], ...]
    samples: tuple[tuple[float, float, str], ...] = ()
    quantity: str = "refractive index"
    set_aside: tuple[tuple[float, float], ...] = ()

    def on_line(self, percent: float) -> float:
        return self.intercept + self.slope * percent


@dataclass(frozen=True)
class ReadOff:
    """A flow point that has a result."""

    name: str
    reading: float
    percent: float
    low: float | None
    high: float | None
    limits: str


@dataclass(frozen=True)
class Frame:
    """Where things lie: the scales, and the heights from top to bottom."""

    across: Axis
    up: Axis
    floor: float  # the percent axis; between it and the lower end of `up` lie the bars
    strip_top: float
    key_top: float
    size: float  # of letters
    wide: bool


def calibration_plot(curve: CalibrationCurve, *, width: int = 640, height: int = 0) -> str:
    """The plot as SVG text; drawn anew for each width, so that letters keep their size.

    `height` 0 takes what suits the width. The same curve and size give the same bytes.
    """
    found = [
        ReadOff(name, reading, percent, low, high, limits)
        for name, reading, percent, low, high, limits in curve.flow_points
        if reading is not None and percent is not None
    ]
    height = height or (470 if width >= WIDE_FROM else 450)
    size = 13.5 if width >= WIDE_FROM else 13
    rows = marks.key_rows(key_entries(curve, found), width - 16, size)
    frame = lay_out(curve, found, width, height - len(rows) * marks.KEY_LINE - 6, size)
    parts = [
        *ground(curve, frame),
        *axes_text(curve, frame, width),
        *line_and_drops(curve, found, frame),
        *bars(found, frame),
        *point_marks(curve, found, frame),
        *labels(curve, found, frame),
        *strip(curve, frame),
        *marks.draw_key(rows, 8, frame.key_top, size),
    ]
    return svg.picture(width, height, title(curve, found), parts)


def title(curve: CalibrationCurve, found: Sequence[ReadOff]) -> str:
    in_fit = sum(1 for *_, used in curve.points if used)
    answers = ", ".join(f"{point.name} {point.limits}" for point in found)
    return (
        f"Calibration line: {curve.quantity} against percent, {in_fit} bottles in the fit"
        + (f". Read off: {answers}" if answers else "")
        + ". The table has the figures."
    )


def lay_out(
    curve: CalibrationCurve, found: Sequence[ReadOff], width: int, bottom: float, size: float
) -> Frame:
    wide = width >= WIDE_FROM
    percents = [
        *(p for p, *_ in curve.points),
        *(p for p, *_ in curve.samples),
        *(p for p, _ in curve.set_aside),
        *(point.percent for point in found),
        *(curve.band or ()),
    ]
    low, high = min(0.0, *percents), max(percents)
    # An interval may run far out; it widens the picture by a fifth at most and is then cut.
    ends = [end for point in found for end in (point.low, point.high) if end is not None]
    room = 0.2 * (high - low)
    low = max(min([low, *ends]), low - room) if min([0.0, *ends]) < low else low
    high = min(max([high, *ends]), high + room)
    readings = [
        *(r for _, r, *_ in curve.points),
        *(r for _, r, _ in curve.samples),
        *(r for _, r in curve.set_aside),
        *(point.reading for point in found),
        *(curve.on_line(p) for p in (low, high)),
    ]
    strip_top = bottom - STRIP
    floor = strip_top - 4.6 * size
    lanes = LANE * sum(point.low is not None for point in found) + 6
    up = axis(min(readings), max(readings), start=floor - lanes, end=size * 2.2, most=5)
    left = 16 + max(text_width(up.label(v), size, number=True) for v in up.ticks())
    across = axis(low, high, start=left, end=width - 14, most=7 if wide else 5)
    return Frame(across, up, floor, strip_top, bottom + 4, size, wide)


def ground(curve: CalibrationCurve, frame: Frame) -> list[str]:
    """Hatched band, graph paper, axes."""
    across, up = frame.across, frame.up
    fine: list[Stroke] = [
        ((across.at(v), up.end), (across.at(v), frame.floor)) for v in across.ticks(across.finer(9))
    ] + [((across.start, up.at(v)), (across.end, up.at(v))) for v in up.ticks(up.finer(9))]
    main: list[Stroke] = [
        ((across.start, up.at(v)), (across.end, up.at(v))) for v in up.ticks()
    ] + [
        ((across.start, frame.floor), (across.end, frame.floor)),
        ((across.start, up.end), (across.start, frame.floor)),
    ]
    band: list[str] = []
    if curve.band is not None:
        left, right = (across.at(across.clip(edge)) for edge in curve.band)
        edges: list[Stroke] = [((x, up.end), (x, frame.floor)) for x in (left, right)]
        band = [
            svg.hatch(left, up.end, right, frame.floor),
            svg.segments(edges, kind="plot-hatch", stroke=svg.HATCH, width=1.2),
        ]
    return [
        svg.segments(fine, kind="plot-grid", stroke=svg.GRID, width=1),
        *band,
        svg.segments(main, kind="plot-axis", stroke=svg.AXIS, width=1),
    ]


def axes_text(curve: CalibrationCurve, frame: Frame, width: int) -> list[str]:
    across, up, size = frame.across, frame.up, frame.size
    middle = (across.start + across.end) / 2
    quantity = shorten(curve.quantity, size, width - 16)
    return [
        svg.text(8, size * 1.2, quantity, size=size),
        *(
            svg.text(across.start - 8, up.at(v) + size * 0.35, up.label(v),
                     size=size, anchor="end", number=True)
            for v in up.ticks()
        ),
        *(
            svg.text(across.at(v), frame.floor + size * 1.35, across.label(v),
                     size=size, anchor="middle", number=True)
            for v in across.ticks()
        ),
        svg.text(middle, frame.floor + size * 2.75, "concentrate, % by volume",
                 size=size, anchor="middle"),
    ]  # fmt: skip


def line_and_drops(curve: CalibrationCurve, found: Sequence[ReadOff], frame: Frame) -> list[str]:
    return [
        svg.segments([fitted(curve, frame)], kind="plot-line", stroke=svg.BLUE, width=2.2),
        svg.segments(drops(found, frame), kind="plot-ink", stroke=svg.INK, width=1, dash="2 4"),
    ]


def fitted(curve: CalibrationCurve, frame: Frame) -> Stroke:
    """The line over the whole width, cut where it leaves the picture."""
    across, up = frame.across, frame.up
    ends = []
    for percent in (across.low, across.high):
        reading = up.clip(curve.on_line(percent))
        ends.append((across.at((reading - curve.intercept) / curve.slope), up.at(reading)))
    return ends[0], ends[1]


def drops(found: Sequence[ReadOff], frame: Frame) -> list[Stroke]:
    """From the reading across to the line, and from there down to the percent."""
    strokes: list[Stroke] = []
    for point in found:
        x, y = frame.across.at(point.percent), frame.up.at(point.reading)
        strokes += [((frame.across.start, y), (x, y)), ((x, y), (x, frame.floor))]
    return strokes


def bars(found: Sequence[ReadOff], frame: Frame) -> list[str]:
    """The 95 % intervals, one lane each; an arrow where one runs out of the picture."""
    parts = []
    lane = 0
    for point in found:
        if point.low is None or point.high is None:
            continue
        y = frame.floor - 6 - LANE * lane
        lane += 1
        low, high = (frame.across.at(frame.across.clip(v)) for v in (point.low, point.high))
        parts.append(
            svg.segments([((low, y), (high, y))], kind="plot-ink", stroke=svg.INK, width=3.5)
        )
        for x, end, way in ((low, point.low, -1), (high, point.high, 1)):
            if not frame.across.holds(end):
                tip = [(x + way * 3, y), (x - way * 6, y - 5), (x - way * 6, y + 5)]
                parts.append(svg.shape(tip, hollow=False))
        parts.append(marks.verdict_mark(point.limits, frame.across.at(point.percent), y, 3.6))
    return parts


def point_marks(curve: CalibrationCurve, found: Sequence[ReadOff], frame: Frame) -> list[str]:
    at_x, at_y = frame.across.at, frame.up.at
    return [
        *(marks.cross(at_x(p), at_y(r), 4.5) for p, r in curve.set_aside),
        *(marks.square(at_x(p), at_y(r), 5, dashed=not used) for p, r, _, used in curve.points),
        *(svg.disc(at_x(p), at_y(r), 2.6, hollow=True) for p, r, _ in curve.samples),
        *(
            marks.verdict_mark(point.limits, at_x(point.percent), at_y(point.reading), 6)
            for point in found
        ),
    ]


def labels(curve: CalibrationCurve, found: Sequence[ReadOff], frame: Frame) -> list[str]:
    """Names of the flow points, and of the bottles where there is a free place."""
    across, up = frame.across, frame.up
    room = (across.end - across.start) * 0.55
    wanted = [
        Label(across.at(point.percent), up.at(point.reading),
              shorten(point.name, frame.size, room, bold=True), frame.size, bold=True)
        for point in sorted(found, key=lambda point: point.reading)
    ] + [
        Label(across.at(p), up.at(r), shorten(name, frame.size, room), frame.size, needed=False)
        for p, r, name, _ in curve.points
        if name
    ]  # fmt: skip
    (x1, y1), (x2, y2) = fitted(curve, frame)
    placed = place(
        wanted,
        field=Box(across.start + 2, up.end, across.end, frame.floor - 2),
        marks=mark_boxes(curve, found, frame),
        line=[(x1, y1, x2, y2)],
        drops=[(a, b, c, d) for (a, b), (c, d) in drops(found, frame)],
    )
    return [part for label in placed for part in draw_label(label)]


def mark_boxes(curve: CalibrationCurve, found: Sequence[ReadOff], frame: Frame) -> list[Box]:
    """What a label may not cover: every mark and every interval bar."""
    spots = [(p, r, 7.0) for p, r, *_ in curve.points]
    spots += [(p, r, 6.0) for p, r in curve.set_aside]
    spots += [(p, r, 3.0) for p, r, _ in curve.samples]
    spots += [(point.percent, point.reading, 8.0) for point in found]
    boxes = []
    for p, r, half in spots:
        x, y = frame.across.at(p), frame.up.at(r)
        boxes.append(Box(x - half, y - half, x + half, y + half))
    measured = [point for point in found if point.low is not None and point.high is not None]
    for i, point in enumerate(measured):
        y = frame.floor - 6 - LANE * i
        low, high = (frame.across.at(frame.across.clip(v or 0.0)) for v in (point.low, point.high))
        boxes.append(Box(low - 6, y - 5, high + 6, y + 5))
    return boxes


def draw_label(placed: Placed) -> list[str]:
    label, box = placed.label, placed.box
    parts = []
    if placed.far:
        end = (min(max(label.x, box.left), box.right), box.bottom)
        if box.top > label.y:
            end = (end[0], box.top)
        parts.append(
            svg.segments([((label.x, label.y), end)], kind="plot-ink", stroke=svg.INK, width=0.8)
        )
    parts.append(svg.veil(box.left, box.top, box.right, box.bottom))
    anchor, x = ("end", box.right - 2) if box.right <= label.x else ("start", box.left + 2)
    parts.append(
        svg.text(x, box.bottom - label.size * 0.33, label.words,
                 size=label.size, anchor=anchor, bold=label.bold, soft=not label.bold)
    )  # fmt: skip
    return parts


def strip(curve: CalibrationCurve, frame: Frame) -> list[str]:
    """How far each bottle reads from the line, on a scale of its own."""
    rests = [(p, reading - curve.on_line(p), used) for p, reading, _, used in curve.points]
    largest = max(abs(rest) for _, rest, _ in rests)
    # Bottles that lie on the line to the last digit would ask for a scale of nothing.
    scale = round_step(max(largest, 1e-3 * frame.up.step))
    middle = frame.strip_top + STRIP / 2
    across, half = frame.across, STRIP / 2 - 6

    def at(rest: float) -> float:
        return middle - rest / scale * half

    main: list[Stroke] = [((across.start, middle), (across.end, middle))]
    limits: list[Stroke] = [
        ((across.start, y), (across.end, y)) for y in (middle - half, middle + half)
    ]
    stems: list[Stroke] = [
        ((across.at(p), middle), (across.at(p), at(rest))) for p, rest, _ in rests
    ]
    span = number(scale, decimals(scale)) if scale >= 1e-6 else f"{scale:.0e}".replace("-", MINUS)
    words = f"reading less line, strip ± {span}"
    return [
        svg.text(across.start, frame.strip_top - 3, words, size=frame.size, soft=True),
        svg.segments(limits, kind="plot-grid", stroke=svg.GRID, width=1),
        svg.segments(main, kind="plot-line", stroke=svg.BLUE, width=1.2),
        svg.segments(stems, kind="plot-ink", stroke=svg.INK, width=1.2),
        *(marks.square(across.at(p), at(rest), 3, dashed=not used) for p, rest, used in rests),
    ]


def key_entries(curve: CalibrationCurve, found: Sequence[ReadOff]) -> list[marks.KeyEntry]:
    """Only what this plot shows."""

    def verdict(limits: str) -> Callable[[float, float], str]:
        return lambda x, y: marks.verdict_mark(limits, x, y, 5)

    entries = [marks.KeyEntry(lambda x, y: marks.square(x, y, 5), "bottle in the fit")]
    if not all(used for *_, used in curve.points):
        entries.append(
            marks.KeyEntry(lambda x, y: marks.square(x, y, 5, dashed=True), "not in the fit")
        )
    if curve.set_aside:
        entries.append(marks.KeyEntry(lambda x, y: marks.cross(x, y, 4.5), "set aside"))
    if curve.samples:
        entries.append(marks.KeyEntry(lambda x, y: svg.disc(x, y, 2.6, hollow=True), "sample"))
    shown = {point.limits for point in found}
    entries += [
        marks.KeyEntry(verdict(limits), f"flow point, {limits}")
        for limits in ("in band", "lean", "rich")
        if limits in shown
    ]
    if any(point.low is not None for point in found):
        entries.append(marks.KeyEntry(marks.stroke_swatch(3.5), "95 % interval"))
    if curve.band is not None:
        lower, upper = curve.band
        words = f"acceptance band {lower:g} to {upper:g} %"
        entries.append(marks.KeyEntry(marks.hatch_swatch, words))
    return entries
