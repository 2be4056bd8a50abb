"""Moments as a file writes them: a day with a time of day, or the time alone.

The clock is that of the site unless the cell itself says how far it is from UTC, so what is read
here becomes an instant only where the site is known (`instant`).
"""

import re
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import NamedTuple
from zoneinfo import ZoneInfo

from itm.core.figures import day as in_words
from itm.intake.tables import days
from itm.intake.tables.cells import Cell, bare

CLOCK = re.compile(
    r"(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})(?:[:.](?P<second>\d{2})(?:[.,]\d+)?)?"
    r"\s*(?P<half>[ap]\.?m\.?)?\s*(?P<zone>z|utc|gmt|[+\-−]\d{2}:?\d{2})?",
    re.IGNORECASE,
)
BOTH = re.compile(r"(?P<day>.+?)(?:[Tt]|,?\s+(?:at\s+)?)(?P<clock>\d{1,2}[:.h]\d{2}(?![./\-\d]).*)")


class Moment(NamedTuple):
    """`day` is None where the cell holds a time alone; `offset` where it says none."""

    day: date | None
    clock: time
    offset: timezone | None = None

    @property
    def words(self) -> str:
        clock = f"{self.clock:%H:%M:%S}" if self.clock.second else f"{self.clock:%H:%M}"
        offset = "" if self.offset is None else f" ({self.offset})"
        return f"{in_words(self.day)}, {clock}{offset}" if self.day else f"{clock}{offset}"


class NoInstant(Exception):
    """The clock of the site never showed this time, or showed it twice."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code, self.sentence = code, sentence


def moment_in(cell: Cell, order: days.Order, system: str = "", century: str = "") -> Moment | None:
    """None where the cell holds no time of day, or a day that is none under this order."""
    if isinstance(cell, tuple):
        if len(cell) <= 3:
            return None
        hour, minute, second = (*cell[3:], 0)[:3]
        return Moment(date(*cell[:3]), time(hour, minute, second))
    if isinstance(cell, int | float):
        return _of_number(float(cell), system)
    text = bare(cell)
    if found := CLOCK.fullmatch(text):
        return _moment(None, found)
    both = BOTH.fullmatch(text)
    clock = CLOCK.fullmatch(both["clock"]) if both else None
    if both is None or clock is None:
        return None
    day = days.day_in(both["day"], order, system, century)
    return _moment(day, clock) if day else None


def _of_number(number: float, system: str) -> Moment | None:
    """A spreadsheet counts days; what stands behind the point is the time. ISO/IEC 29500-1,
    18.17.4.1."""
    seconds = round(number * 86_400)  # its clock is good to a second and no better
    whole, rest = divmod(seconds, 86_400)
    clock = (datetime.min + timedelta(seconds=rest)).time()
    if whole == 0 and 0 <= number < 1:
        return Moment(None, clock)
    if not system or not days.LEAST_COUNT <= whole <= days.MOST_COUNT or number == whole:
        return None
    return Moment(days.of_count(whole, system), clock)


def _moment(day: date | None, found: re.Match[str]) -> Moment | None:
    hour, half = int(found["hour"]), (found["half"] or "").casefold()[:1]
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        clock = time(hour, int(found["minute"]), int(found["second"] or 0))
    except ValueError:
        return None
    return Moment(day, clock, _offset(found["zone"] or ""))


def _offset(said: str) -> timezone | None:
    if not said:
        return None
    if said[0] not in "+-−":
        return UTC
    digits = said[1:].replace(":", "")
    minutes = int(digits[:2]) * 60 + int(digits[2:])
    return timezone(timedelta(minutes=-minutes if said[0] in "-−" else minutes))


def instant(moment: Moment, *, day: date, zone: ZoneInfo) -> datetime:
    """The instant on the clock of the site; `day` where the cell names none. Raises NoInstant."""
    local = datetime.combine(moment.day or day, moment.clock)
    if moment.offset is not None:
        return local.replace(tzinfo=moment.offset).astimezone(UTC)
    early, late = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if early == late:
        return early
    if early.astimezone(zone).replace(tzinfo=None) != local:
        raise NoInstant(
            "no_such_time", f"{moment.words}: the clock of the site was put forward past that time."
        )
    raise NoInstant(
        "time_twice", f"{moment.words}: the clock of the site was put back and showed that twice."
    )
