"""Days as a file writes them. 03/04/2026 is two days, so the order is found or asked."""

import re
from datetime import date, timedelta
from typing import Literal

from itm.intake.tables.cells import Cell, bare

Order = Literal["", "dmy", "mdy"]
ORDERS = {"dmy": "day, month, year", "mdy": "month, day, year"}
FIGURES = re.compile(r"^(\d{1,4})([./\-\s])(\d{1,2})\2(\d{1,4})(?:[Tt\s].*)?$")
DAY_MONTH = re.compile(r"^(\d{1,2})(?:st|nd|rd|th)?[\s.\-/]*([a-z]{3,9})\.?[\s.,\-/]*(\d{4})$")
MONTH_DAY = re.compile(r"^([a-z]{3,9})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})$")
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


def tells(cell: Cell) -> Literal["", "dmy", "mdy", "unclear"]:
    """Which order this cell shows by itself."""
    if not isinstance(cell, str):
        return ""
    found = FIGURES.match(bare(cell))
    if found is None or len(found[1]) > 2 or len(found[4]) != 4:
        return ""
    first, second = int(found[1]), int(found[3])
    if first == second or max(first, second) > 31 or min(first, second) > 12:
        return ""
    if first > 12:
        return "dmy"
    return "mdy" if second > 12 else "unclear"


def day_in(cell: Cell, order: Order, system: str = "") -> date | None:
    """The day, or None where the cell holds none under this order.

    Two figures for a year are none: 26 could be 1926 on a paper that is old enough.
    """
    if isinstance(cell, tuple):
        return date(*cell[:3])
    count = count_in(cell)
    if count is not None:
        return of_count(count, system) if system else None
    if not isinstance(cell, str):
        return None
    text = bare(cell).casefold()
    return _of_figures(text, order) or _of_words(text)


def has_short_year(cell: Cell) -> bool:
    found = FIGURES.match(bare(cell)) if isinstance(cell, str) else None
    return found is not None and len(found[1]) <= 2 and len(found[4]) <= 2


def _of_figures(text: str, order: Order) -> date | None:
    found = FIGURES.match(text)
    if found is None:
        return None
    a, b, c = found[1], found[3], found[4]
    if len(a) == 4 and len(c) <= 2:
        return _date(int(a), int(b), int(c))
    if len(a) > 2 or len(c) != 4:
        return None
    first, second = int(a), int(b)
    if order == "dmy" or (not order and first == second):
        return _date(int(c), second, first)
    return _date(int(c), first, second) if order == "mdy" else None


def _of_words(text: str) -> date | None:
    if found := DAY_MONTH.match(text):
        return _date(int(found[3]), _month(found[2]), int(found[1]))
    if found := MONTH_DAY.match(text):
        return _date(int(found[3]), _month(found[1]), int(found[2]))
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
