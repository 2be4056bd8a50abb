"""Where labels go: beside their mark, clear of each other, of marks and of the line."""

from collections.abc import Sequence
from dataclasses import dataclass

# Advance widths of the text face in hundredths of its size, rounded up by class of letter.
NARROW, BROAD = set("fijlrtI1.,:;'|!()[]/- "), set("mwMW%@")
MONO_WIDTH = 0.63
LINE_HEIGHT = 1.25


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def within(self, other: "Box") -> bool:
        return (
            other.left <= self.left
            and self.right <= other.right
            and other.top <= self.top
            and self.bottom <= other.bottom
        )

    def crossed_by(self, line: tuple[float, float, float, float]) -> bool:
        """Whether a stroke from (x1, y1) to (x2, y2) enters the box (it is cut to it)."""
        x1, y1, x2, y2 = line
        enter, leave = 0.0, 1.0
        for start, move, low, high in (
            (x1, x2 - x1, self.left, self.right),
            (y1, y2 - y1, self.top, self.bottom),
        ):
            if move == 0:
                if not low < start < high:
                    return False
                continue
            first, last = sorted(((low - start) / move, (high - start) / move))
            enter, leave = max(enter, first), min(leave, last)
        return enter < leave


@dataclass(frozen=True)
class Label:
    """Words that belong to a mark at (x, y)."""

    x: float
    y: float
    words: str
    size: float
    bold: bool = False
    needed: bool = True  # one that is not needed is left out where there is no free place


@dataclass(frozen=True)
class Placed:
    label: Label
    box: Box

    @property
    def far(self) -> bool:
        """So far from its mark that a thin line must join them."""
        middle = (self.box.top + self.box.bottom) / 2
        return abs(middle - self.label.y) > self.label.size * LINE_HEIGHT + 4


def text_width(words: str, size: float, *, bold: bool = False, number: bool = False) -> float:
    """About how wide words run; a little too wide on purpose, for faces differ."""
    if number:
        return MONO_WIDTH * size * len(words)
    hundredths = sum(
        33 if c in NARROW else 88 if c in BROAD else 66 if c.isupper() else 56 for c in words
    )
    return hundredths / 100 * size * (1.06 if bold else 1.0)


def shorten(words: str, size: float, room: float, *, bold: bool = False) -> str:
    """The words, cut with an ellipsis where they would run wider than the room."""
    if text_width(words, size, bold=bold) <= room:
        return words
    while words and text_width(words + "…", size, bold=bold) > room:
        words = words[:-1].rstrip()
    return words + "…"


def place(
    labels: Sequence[Label],
    *,
    field: Box,
    marks: Sequence[Box],
    line: Sequence[tuple[float, float, float, float]],
    drops: Sequence[tuple[float, float, float, float]] = (),
) -> list[Placed]:
    """Labels one after the other, each at its cheapest place.

    Running over a mark, another label or the edge costs most, over the line less, over a drop
    line little, and every step away from the mark a trifle.
    """
    done: list[Placed] = []
    for label in labels:
        taken = [*marks, *(placed.box for placed in done)]

        def cost(box: Box, label: Label = label, taken: list[Box] = taken) -> float:
            hits = sum(box.meets(other) for other in taken) + (not box.within(field))
            crossings = sum(box.crossed_by(stroke) for stroke in line)
            covered = sum(box.crossed_by(stroke) for stroke in drops)
            away = abs((box.top + box.bottom) / 2 - label.y) / label.size
            return 1000 * hits + 60 * crossings + 3 * covered + away

        best = min(places(label), key=cost)
        if label.needed or cost(best) < 60:
            done.append(Placed(label, best))
    return done


def places(label: Label) -> list[Box]:
    """Boxes beside the mark, left before right, up before down, nearest first."""
    wide = text_width(label.words, label.size, bold=label.bold) + 4
    high = label.size * LINE_HEIGHT
    gap = 10
    boxes = []
    for steps in range(13):
        for up in (-1, 1):
            top = label.y - high / 2 + up * steps * high / 2
            for left in (label.x - gap - wide, label.x + gap, label.x - wide / 2):
                if left == label.x - wide / 2 and steps < 3:
                    continue  # above or below the mark only where it clears it
                boxes.append(Box(left, top, left + wide, top + high))
    return boxes
