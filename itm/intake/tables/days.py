"""Days as a file writes them. 03/04/2026 is two days, so the order is found or asked."""

import re
from datetime import date, timedelta
from typing import Literal

from itm.intake.tables.cells import Cell, bare

Order = Literal["", "dmy", "mdy", "ymd"]
ORDERS: dict[Order, str] = {
    "dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day",
}  # fmt: skip
# How years of two figures are read: all in one century, or as POSIX reads them (strptime, %y).
CENTURIES = {"2000": "20..", "1900": "19..", "1969": "69 to 99 as 19.., the others as 20.."}
FIGURES = re.compile(r"^(\d{1,4})([./\-\s])(\d{1,2})\2(\d{1,4})(?:[Tt\s].*)?$")
DAY_MONTH = re.compile(
    r"^(\d{1,2})(?:st|nd|rd|th)?[\s.\-/]*([a-z]{3,9})\.?[\s.,\-/]*(\d{4}|\d{2})$"
)
MONTH_DAY = re.compile(r"^([a-z]{3,9})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4}|\d{2})$")
CLOCK_BEHIND = re.compile(r"[t\s]+\d{1,2}[:.h]\d{2}.*$")
MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip
# Day counts of spreadsheets: 1 is 1 January 1900, with a 29 February 1900 that never was; or 0 is
# 1 January 1904. ISO/IEC 29500-1, 18.17.4.1.
EPOCHS = {"1900": date(1899, 12, 30), "1904": date(1904, 1, 1)}
LEAST_COUNT, MOST_COUNT = 14_610, 73_050  # 1940 to 2099: other numbers are no day counts


def count_in(cell: Cell) -> int | None:
    """The day count that a cell of a day column may be."""
    if isinstance(cell, str):
        text = bare(cell)
        if not (text.isdecimal() and text.isascii() and len(text) == 5):
            return None
        number = int(text)
    elif isinstance(cell, tuple):
        return None
    else:
        number = int(cell)
    return number if LEAST_COUNT <= number <= MOST_COUNT else None


def of_count(count: int, system: str) -> date:
    return EPOCHS[system] + timedelta(days=count)


def tells(cell: Cell) -> Literal["", "dmy", "mdy", "ymd", "unclear"]:
    """Which order this cell shows by itself."""
    if not isinstance(cell, str):
        return ""
    found = FIGURES.match(bare(cell))
    if found is None or len(found[1]) > 2 or len(found[4]) not in (2, 4):
        return ""
    ways: dict[Order, tuple[str, int, int]] = {}
    for order in ORDERS:
        if order != "ymd" or len(found[1]) == len(found[4]) == 2:
            year, month, day = _parted(found, order)
            if 1 <= month <= 12 and 1 <= day <= 31:
                ways[order] = (year, month, day)
    if len(set(ways.values())) > 1:
        return "unclear"
    return next(iter(ways)) if len(ways) == 1 else ""


def _parted(found: re.Match[str], order: Order) -> tuple[str, int, int]:
    """Year as written, month and day."""
    first, second, third = found[1], found[3], found[4]
    if order == "ymd":
        return first, int(second), int(third)
    if order == "mdy":
        return third, int(first), int(second)
    return third, int(second), int(first)


def day_in(cell: Cell, order: Order, system: str = "", century: str = "") -> date | None:
    """The day, or None where the cell holds none under this order.

    Two figures for a year are none without a `century`: 26 could be 1926 on a paper that is old
    enough.
    """
    if isinstance(cell, tuple):
        return date(*cell[:3])
    count = count_in(cell)
    if count is not None:
        return of_count(count, system) if system else None
    if not isinstance(cell, str):
        return None
    text = bare(cell).casefold()
    return _of_figures(text, order, century) or _of_words(text, century)


def has_short_year(cell: Cell) -> bool:
    if not isinstance(cell, str):
        return False
    text = CLOCK_BEHIND.sub("", bare(cell).casefold())
    if found := FIGURES.match(text):
        return len(found[1]) <= 2 and len(found[4]) <= 2
    return _of_words(text, "2000") != _of_words(text, "")


def _of_figures(text: str, order: Order, century: str) -> date | None:
    found = FIGURES.match(text)
    if found is None:
        return None
    a, b, c = found[1], found[3], found[4]
    if len(a) == 4 and len(c) <= 2:
        return _date(int(a), int(b), int(c))
    if len(a) > 2 or len(c) not in (2, 4) or (order == "ymd" and (len(a), len(c)) != (2, 2)):
        return None
    if not order and int(a) == int(b) and not tells(text):
        order = "dmy"  # or the month first: it is the same day
    if not order:
        return None
    year, month, day = _parted(found, order)
    return _date(_whole(year, century), month, day)


def _whole(year: str, century: str) -> int:
    """0, which is no year of the calendar, where two figures are written and nobody said more."""
    if len(year) == 4:
        return int(year)
    if century == "1969":
        return int(year) + (1900 if int(year) >= 69 else 2000)
    return int(year) + int(century) if century else 0


def _of_words(text: str, century: str) -> date | None:
    if found := DAY_MONTH.match(text):
        return _date(_whole(found[3], century), _month(found[2]), int(found[1]))
    if found := MONTH_DAY.match(text):
        return _date(_whole(found[3], century), _month(found[1]), int(found[2]))
    return None


def _month(word: str) -> int:
    named = [n for n, name in enumerate(MONTHS, 1) if name.startswith(word)]
    named += [9] if word == "sept" else []
    return named[0] if len(set(named)) == 1 else 0


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
