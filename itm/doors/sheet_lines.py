"""The lines of a filled sheet: what stands, what was typed over it, and what became of that."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from itm.core.errors import Refused
from itm.core.figures import day
from itm.core.figures import instant as in_figures
from itm.doors.asked import HINTS, UNITS
from itm.doors.entry import Answer
from itm.doors.verbs import VERBS
from itm.intake.tables.moments import NoInstant, instant, moment_in

AT = "at"  # the name of the time on each line


@dataclass(frozen=True)
class Box:
    """One entry of a line. `stands` is the server's text; `unit` is meant where none is typed."""

    name: str
    label: str
    stands: str = ""
    typed: str = ""
    unit: str = ""
    units: Mapping[str, float] = field(default_factory=dict)  # of a quantity
    choices: Sequence[tuple[str, str]] = ()
    theirs: str = ""  # what somebody else wrote meanwhile
    listed: bool = False  # several texts, each on a line of its own


def asked_boxes(asked: Sequence[Mapping[str, Any]], stands: Mapping[str, str]) -> list[Box]:
    """One for each thing that a form asks (`itm.doors.asked`), with what stands there."""
    return [
        Box(
            one["name"],
            one["label"] + HINTS.get(one["kind"], ""),
            stands[one["name"]],
            units=UNITS.get(one["kind"], {}),
            choices=one["choices"],
        )
        for one in asked
    ]


def texts(typed: str) -> list[str]:
    """Those of a listed box; an empty line is none."""
    return [line.strip() for line in typed.splitlines() if line.strip()]


def joined(value: object) -> str:
    """A text, or several of them, as a box holds it."""
    return "\n".join(map(str, value)) if isinstance(value, list) else str(value)


@dataclass(frozen=True)
class Line:
    """`verb` on the row `of`; `timed` lines need the time that was written beside them."""

    verb: str
    of: Mapping[str, str]
    key: str
    head: str
    boxes: tuple[Box, ...] = ()
    timed: bool = False
    at: str = ""
    done: str = ""  # said in words where nothing is left to type
    wrong: str = ""

    @property
    def name(self) -> str:
        """Of its entries in the form: for what exists its own key, for a new row the entry's."""
        return f"{self.verb}.{self.key}" if VERBS[self.verb].makes else f"{self.verb}.{self.row}"

    @property
    def row(self) -> str:
        return next(iter(self.of.values()))

    @property
    def touched(self) -> bool:
        return bool(self.at) or any(box.typed != box.stands for box in self.boxes)


@dataclass(frozen=True)
class Part:
    """A heading of the sheet and its lines."""

    title: str
    lines: tuple[Line, ...] = ()
    note: str = ""


def ditto(lines: Sequence[Line]) -> list[Line]:
    """A reading without a time has that of the reading above it, as one writes on paper."""
    out, last = [], ""
    for line in lines:
        if line.verb == "add_reading":
            last = line.at or last
            if line.touched and not line.at:
                line = replace(line, at=last)
        out.append(line)
    return out


def moment(text: str, on: date, zone: ZoneInfo, now: datetime | None = None) -> datetime:
    """A time of day as people write it: 9:05, 14.05, 14:05:30; with its offset from UTC in the
    night in which the clocks change. Nothing that was written down is later than `now`.

    Raises Refused no_time, no_such_time, time_twice, to_come.
    """
    found = moment_in(text.replace(".", ":"), "")
    if found is None or found.day is not None:
        raise Refused("no_time", f"“{text[:20]}” is no time of day: write 14:05 or 14:05:30.")
    try:
        at = instant(found, day=on, zone=zone).astimezone(zone)
    except NoInstant as none:
        raise Refused(
            none.code, f"{none} Write it with its offset from UTC, such as 01:30+01:00."
        ) from none
    if now is not None and at > now:
        raise Refused(
            "to_come",
            f"{found.words} on {day(on)} is still to come: at the site it is "
            f"{in_figures(now, zone)}. Write the time, and above the day, that stand on the sheet.",
        )
    return at


def is_key(text: str) -> bool:
    try:
        return str(UUID(text)) == text
    except ValueError:
        return False


def answered(
    parts: Sequence[Part], answers: Mapping[str, Answer], wrong: Mapping[str, str]
) -> list[Part]:
    """The page that goes back: each line with its sentence and, where both wrote, both texts."""
    return [
        replace(part, lines=tuple(_answered(line, answers, wrong) for line in part.lines))
        for part in parts
    ]


def _in_words(box: Box, value: str) -> str:
    """A choice as it is read, any other text as it is."""
    return dict(box.choices).get(value, value)


def _answered(line: Line, answers: Mapping[str, Answer], wrong: Mapping[str, str]) -> Line:
    if line.name in wrong:
        return replace(line, wrong=wrong[line.name])
    answer = answers.get(line.key)
    if answer is None or answer.taken:
        return line
    boxes = line.boxes
    if answer.state == "crossed":
        # Sent again, one's own goes in its place: `stands` is what was seen now.
        boxes = tuple(
            replace(
                box,
                stands=joined(answer.now[box.name]),
                theirs=_in_words(box, joined(answer.now[box.name])),
            )
            if box.name in answer.now
            else box
            for box in boxes
        )
    return replace(line, boxes=boxes, wrong=answer.sentence)
