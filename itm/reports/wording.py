"""Small words of a report: facts with their names, times on the site's clock, chances."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from itm.core.figures import MINUS, day, instant
from itm.records.states import WORDS

VERBS = {**WORDS, "prepare": "prepared"}


@dataclass(frozen=True)
class Fact:
    """One line of who, where and with what. A note is something to look at."""

    name: str
    value: str
    note: str = ""


def facts(*lines: tuple[str, str] | Fact) -> tuple[Fact, ...]:
    """The lines that say something: an empty one would read as if it had been asked for."""
    made = (line if isinstance(line, Fact) else Fact(*line) for line in lines)
    return tuple(fact for fact in made if fact.value)


@dataclass(frozen=True)
class SiteClock:
    """Instants as the site's clock showed them; the date only where it is another day."""

    zone: str
    tested_on: date

    @classmethod
    def of(cls, document: dict[str, Any]) -> "SiteClock":
        test = document.get("test")
        worked = test["tested_on"] if test else document["check"]["checked_on"]
        return cls(document["site"]["time_zone"], date.fromisoformat(worked))

    def moment(self, at: str | None) -> str:
        """12 Nov 2026 14:05 +01:00."""
        return instant(_read(at), self.zone) if at else ""

    def time(self, at: str | None) -> str:
        """14:05:30, with the day in front when it is not the day of the test."""
        if not at:
            return ""
        there = _read(at).astimezone(ZoneInfo(self.zone))
        shown = f"{there:%H:%M:%S}"
        return shown if there.date() == self.tested_on else f"{day(there)} {shown}"

    def date(self, at: str) -> date:
        return _read(at).astimezone(ZoneInfo(self.zone)).date()


def _read(at: str) -> datetime:
    return datetime.fromisoformat(at)


def iso_day(text: str | None) -> str:
    return day(date.fromisoformat(text)) if text else ""


def by_whom(person: str, organisation: str) -> str:
    return f"{person}, {organisation}" if person and organisation else person or organisation


def at_least_tenths(text: str) -> str:
    """3 as 3.0 and 3.575 as it is: a limit keeps every digit it was written with."""
    return text if "." in text else f"{text}.0"


def signed(value: float, digits: int) -> str:
    shown = f"{value:+.{digits}f}"
    return shown.replace("-", MINUS) if float(shown) else f"{0:.{digits}f}"


def decimals(typed: str) -> int:
    """Digits after the point of a number as typed."""
    return len(typed.replace(",", ".").partition(".")[2])
