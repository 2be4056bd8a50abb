"""Marks and the key that says what they mean. The shape carries the meaning, never the colour."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from itm.reports.plot_place import text_width
from itm.reports.plot_svg import AXIS, INK, disc, hatch, segments, shape, text

KEY_GAP = 16
KEY_MARK = 26
KEY_LINE = 19


def verdict_mark(limits: str, x: float, y: float, radius: float, *, hollow: bool = False) -> str:
    """A disc in band, a triangle pointing down for lean and up for rich; hollow when undecided."""
    if limits == "in band":
        return disc(x, y, radius, hollow=hollow)
    down = 1 if limits == "lean" else -1
    wide, high = radius * 1.15, radius
    return shape(
        [(x - wide, y - down * high), (x + wide, y - down * high), (x, y + down * high * 1.15)],
        hollow=hollow,
    )


def square(x: float, y: float, half: float, *, dashed: bool = False) -> str:
    corners = [
        (x - half, y - half),
        (x + half, y - half),
        (x + half, y + half),
        (x - half, y + half),
    ]
    return shape(corners, hollow=True, dash="2 2" if dashed else "")


def cross(x: float, y: float, half: float) -> str:
    strokes = [
        ((x - half, y - half), (x + half, y + half)),
        ((x - half, y + half), (x + half, y - half)),
    ]
    return segments(strokes, kind="plot-ink", stroke=INK, width=1.6)


def hatch_swatch(x: float, y: float) -> str:
    frame = [
        ((x - 9, y - 6), (x - 9, y + 6)),
        ((x + 9, y - 6), (x + 9, y + 6)),
    ]
    return hatch(x - 9, y - 6, x + 9, y + 6, every=5) + segments(
        frame, kind="plot-axis", stroke=AXIS, width=1
    )


def stroke_swatch(width: float, dash: str = "") -> Callable[[float, float], str]:
    def draw(x: float, y: float) -> str:
        return segments(
            [((x - 9, y), (x + 9, y))], kind="plot-ink", stroke=INK, width=width, dash=dash
        )

    return draw


@dataclass(frozen=True)
class KeyEntry:
    draw: Callable[[float, float], str]  # the mark with its middle at (x, y)
    words: str


def key_rows(entries: Sequence[KeyEntry], room: float, size: float) -> list[list[KeyEntry]]:
    """The entries, broken into rows that fit the room."""
    rows: list[list[KeyEntry]] = []
    used = room + 1
    for entry in entries:
        wide = KEY_MARK + text_width(entry.words, size) + KEY_GAP
        if used + wide - KEY_GAP > room:
            rows.append([])
            used = 0
        rows[-1].append(entry)
        used += wide
    return rows


def draw_key(rows: Sequence[Sequence[KeyEntry]], left: float, top: float, size: float) -> list[str]:
    parts = []
    for i, row in enumerate(rows):
        x, y = left, top + i * KEY_LINE + KEY_LINE / 2
        for entry in row:
            parts.append(entry.draw(x + 9, y))
            parts.append(text(x + KEY_MARK, y + size * 0.35, entry.words, size=size, soft=True))
            x += KEY_MARK + text_width(entry.words, size) + KEY_GAP
    return parts
