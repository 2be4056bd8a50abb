"""What happened between results, as strokes through a plot over the years with words above them."""

from collections.abc import Sequence
from datetime import date

from itm.reports import plot_svg as svg
from itm.reports.plot_axis import Frame
from itm.reports.plot_place import shorten, text_width

EVENT_ROW = 19


def event_lanes(
    events: Sequence[tuple[date, str]], frame: Frame
) -> list[tuple[date, str, float, float, int]]:
    """(day, words, left, right, lane): each event's words in the first lane where they fit.

    The same words once more before there is room after them are said once, and the stroke stands
    alone: a meter that was another one each year would else fill lane upon lane.
    """
    taken: list[float] = []  # right end of the last words in each lane
    said: dict[str, tuple[float, int]] = {}  # words: where they last ended, and in which lane
    placed = []
    for day, words in sorted(events):
        shown = shorten(words, frame.size, (frame.end - frame.start) * 0.6)
        until, lane = said.get(shown, (0.0, 0))
        if frame.at(day) < until:
            placed.append((day, "", frame.at(day), frame.at(day), lane))
            continue
        wide = text_width(shown, frame.size) + 8
        left = min(frame.at(day) + 3, frame.end - wide)
        left = max(left, frame.start)
        lane = next((i for i, right in enumerate(taken) if left >= right), len(taken))
        if lane == len(taken):
            taken.append(0.0)
        taken[lane] = left + wide
        said[shown] = (left + wide, lane)
        placed.append((day, shown, left, left + wide, lane))
    return placed


def event_marks(
    lanes: Sequence[tuple[date, str, float, float, int]], frame: Frame, floor: float
) -> list[str]:
    strokes: list[tuple[svg.Point, svg.Point]] = []
    words = []
    for day, shown, left, right, lane in lanes:
        y = frame.size * 2 + 2 + EVENT_ROW * lane
        x = frame.at(day)
        strokes.append(((x, y), (x, floor)))
        if not shown:
            continue
        words.append(svg.veil(left, y, right, y + EVENT_ROW - 2))
        words.append(svg.text(left + 2, y + frame.size, shown, size=frame.size))
    return [
        svg.segments(strokes, kind="plot-ink", stroke=svg.INK, width=1, dash="1 3"),
        *words,
    ]
