"""Cells as values, under the dialect of their file. Each different cell is read once."""

import re
from decimal import Decimal
from typing import Any, NamedTuple

from itm.core.figures import day
from itm.intake.tables import days, moments, numbers
from itm.intake.tables.cells import Cell, as_date, text_of
from itm.intake.tables.dialect import (
    AS_IT_STANDS,
    FRACTION,
    LARGEST_FRACTION,
    LEAVE_EMPTY,
    PERCENT,
    Dialect,
)
from itm.intake.tables.layout import TableColumn
from itm.intake.tables.swapped_days import TURNED, turned
from itm.intake.tables.unit_questions import OF_CELL

FINEST_PERCENT = Decimal("0.000001")
# 2E+05 is what a spreadsheet makes of the lot 2E05, and shows of a long number.
DAMAGED = re.compile(r"^\d([.,]\d+)?E\+\d+$", re.IGNORECASE)
EMPTY = "missing"


class Got(NamedTuple):
    """One cell read: its value, how it was typed, and what is wrong with it if anything is."""

    value: Any
    typed: str = ""
    code: str = ""
    sentence: str = ""
    fix: str = ""


class Amount(NamedTuple):
    number: Decimal
    unit: str


def read_cell(cell: Cell, column: TableColumn, dialect: Dialect, unit: str = "") -> Got:
    """`unit` is what the head says. Codes: missing, not_a_number, other_decimal, no_unit,
    other_unit, two_units, too_large, nothing, not_a_day, not_a_time, no_time, short_year,
    order_open, share_open, day_for_name, number_for_name, damaged_name, not_a_choice, too_long."""
    text = text_of(cell)
    if isinstance(cell, tuple) and (dialect.swapped or {}).get(column.name) == TURNED:
        if (other := turned(cell)) is None:
            sentence = f"“{text}” cannot be turned: there is no month {cell[2]}."
            fix = "Look how this day stands in the file that the workbook was made of."
            return Got(None, text, "not_a_day", sentence, fix)
        cell, text = other, text_of(other)
    figures = column.is_figure or column.is_dated
    if figures and isinstance(cell, str) and numbers.is_nothing(cell):
        if dialect.nothing != LEAVE_EMPTY:
            return Got(None, text, "nothing", f"“{text}” stands where {_belongs(column)} belongs.",
                       "Leave the cell empty, or write what was measured.")  # fmt: skip
        text = ""
    if not text:
        if column.needed:
            sentence = f"{column.label} is missing; nothing is not zero."
            return Got(None, "", EMPTY, sentence, "Fill the cell, or take the row out.")
        if column.has_to_be_said:
            words = " or ".join(dict.fromkeys(column.choices.values()))
            sentence = f"{column.label} is not said; nothing is none of {words}."
            return Got(None, "", EMPTY, sentence, f"Write {words}.")
        return Got(None if figures else "")
    if column.is_figure:
        return _figure(cell, text, column, dialect, unit)
    if column.kind == "day":
        return _day(cell, text, column, dialect)
    if column.kind == "moment":
        return _moment(cell, text, column, dialect)
    if column.kind == "choice":
        return _choice(text, column)
    return _name(cell, text, column, dialect)


def _belongs(column: TableColumn) -> str:
    return {"day": "a day", "moment": "a time"}.get(column.kind, "a figure")


def _figure(cell: Cell, text: str, column: TableColumn, dialect: Dialect, unit: str) -> Got:
    if isinstance(cell, tuple):
        fix = "Write the figure, and format the cell as text or number."
        return Got(
            None, text, "not_a_number", f"A day ({text}) stands where a figure belongs.", fix
        )
    if isinstance(cell, str):
        found = numbers.figure_in(cell)
        if found is None:
            return Got(None, text, "not_a_number", f"“{text}” is no figure.",
                       f"Write one figure, such as {column.example or '3.1'}.")  # fmt: skip
        value = numbers.value_of(found, dialect.decimal)
        said, known = numbers.unit_after(found)
        if value is None:
            return Got(None, text, "other_decimal", f"“{text}” {_unread(dialect)}.",
                       "Write it as the other figures of the file.")  # fmt: skip
        if not known:
            return Got(None, text, "not_a_number", f"“{text}” is not one figure with its unit.",
                       f"Write one figure, such as {column.example or '3.1'}.")  # fmt: skip
    else:
        value, said = Decimal(repr(cell)), ""
        value = value.quantize(Decimal(1)) if value == value.to_integral_value() else value
    if said and unit in column.units and said != unit and said in column.units:
        holds = (dialect.differing or {}).get(column.name)
        if not holds:
            return Got(None, text, "two_units", f"“{text}” is in {said}, and its head says {unit}.",
                       "Correct one of them.")  # fmt: skip
        said = said if holds == OF_CELL else ""
    if column.kind == "percent":
        return _percent(value, said, unit, text, column, dialect)
    unit = unit or (dialect.units or {}).get(column.name, "")  # of figures that say none
    return _amount(value, said or unit, text, column)


def _unread(dialect: Dialect) -> str:
    if not dialect.decimal:
        return "can be read in two ways"
    sign = "comma" if dialect.decimal == "," else "point"
    return f"cannot be read with a decimal {sign}, as the other figures of this file are"


def _percent(
    value: Decimal, said: str, unit: str, text: str, column: TableColumn, dialect: Dialect
) -> Got:
    said = said or unit
    if said not in ("", "%"):
        return _other_unit(text, said, column, ("%",))
    if "%" not in text and 0 < value <= 1:
        how, others = _ways(value, unit, column, dialect)
        if not how and FRACTION in others:
            return Got(None, text, "share_open", f"“{text}” can be a share of one or a percent.",
                       "Write it with its sign, such as 0.5 %.")  # fmt: skip
        value = (100 * value).normalize() if how == FRACTION else value
    if column.most is not None and not 0 <= value <= column.most:
        return Got(None, text, "too_large", f"“{text}” is no percent: it is 0 to {column.most}.",
                   "Look for the decimal sign.")  # fmt: skip
    # Zeros at the end that were typed stay; beyond what the column keeps, it is rounded.
    exact = value.quantize(FINEST_PERCENT)
    return Got(value if value == exact else exact.normalize(), text)


def _ways(
    value: Decimal, unit: str, column: TableColumn, dialect: Dialect
) -> tuple[str, tuple[str, ...]]:
    """Whether a figure of at most 1 without its sign is a share or a percent, as far as it is
    settled, and how it was settled of such figures in all."""
    small = value <= LARGEST_FRACTION
    if unit == "%" and dialect.headed is not None:
        said = dialect.headed.get(column.name, PERCENT)
        return (said if small or said == PERCENT else ""), (said,)
    return (dialect.percent if small else dialect.middle), (dialect.percent, dialect.middle)


def _amount(value: Decimal, unit: str, text: str, column: TableColumn) -> Got:
    if column.kind == "quantity" and not unit:
        return Got(None, text, "no_unit", f"“{text}” has no unit.",
                   f"Write it as {text} {column.units[0]}.")  # fmt: skip
    if unit and unit not in column.units:
        return _other_unit(text, unit, column, column.units)
    if column.most is not None and not column.judged and abs(value) > column.most:
        return Got(None, text, "too_large", f"“{text}” is beyond {column.most}.",
                   "Look for the decimal sign.")  # fmt: skip
    return Got(Amount(value, unit) if column.kind in ("quantity", "measure") else value, text)


def _other_unit(text: str, unit: str, column: TableColumn, units: tuple[str, ...]) -> Got:
    right = " or ".join(units) if units else "no unit"
    sentence = f"“{text}” is read in {unit}; {column.label.lower()} is given in {right}."
    return Got(None, text, "other_unit", sentence, f"Write it in {right}.")


def _day(cell: Cell, text: str, column: TableColumn, dialect: Dialect) -> Got:
    found = days.day_in(cell, dialect.order, dialect.count, dialect.century)
    if found is not None:
        return Got(found, text)
    if days.has_short_year(cell) and not dialect.century:
        return _short_year(text)
    if days.tells(cell) == "unclear" or days.count_in(cell) is not None:
        return Got(None, text, "order_open", f"“{text}” can be read in two ways.",
                   "Answer the question about the days of this file.")  # fmt: skip
    return Got(None, text, "not_a_day", f"“{text}” is no day of the calendar.",
               "Write year, month and day, such as 2026-04-03.")  # fmt: skip


def _short_year(text: str) -> Got:
    return Got(None, text, "short_year", f"“{text}” has a year of two figures.",
               "Answer the question about the century, or write the year with four.")  # fmt: skip


def _moment(cell: Cell, text: str, column: TableColumn, dialect: Dialect) -> Got:
    found = moments.moment_in(cell, dialect.order, dialect.count, dialect.century)
    if found is not None:
        return Got(found, found.words if isinstance(cell, tuple) else text)
    if days.has_short_year(cell) and not dialect.century:
        return _short_year(text)
    if days.tells(cell) == "unclear" and not dialect.order:
        return Got(None, text, "order_open", f"“{text}” can be read in two ways.",
                   "Answer the question about the days of this file.")  # fmt: skip
    if days.day_in(cell, dialect.order, dialect.count, dialect.century) is not None:
        return Got(None, text, "no_time", f"“{text}” names a day and no time of day.",
                   "Write both, such as 2026-04-03 14:05, or the time alone.")  # fmt: skip
    return Got(None, text, "not_a_time", f"“{text}” is no time.",
               "Write it as 14:05, or with its day as 2026-04-03 14:05.")  # fmt: skip


def _choice(text: str, column: TableColumn) -> Got:
    code = column.choices.get(text.casefold())
    if code is None:
        known = ", ".join(dict.fromkeys(column.choices.values()))
        return Got(None, text, "not_a_choice", f"“{text}” is none of the words known here.",
                   f"Write one of {known}.")  # fmt: skip
    return Got(code, text)


def _name(cell: Cell, text: str, column: TableColumn, dialect: Dialect) -> Got:
    if len(text) > column.longest:
        return Got(None, text[:40], "too_long", f"{column.label} has {len(text)} characters.",
                   f"Write at most {column.longest}.")  # fmt: skip
    if column.kind != "name":
        return Got(text, text)
    if isinstance(cell, tuple):
        when = day(as_date(cell))
        sentence = f"A day ({when}) stands where a name belongs: a spreadsheet makes days of 3-4."
        return Got(None, text, "day_for_name", sentence,
                   "Write what the label says, and format the column as text.")  # fmt: skip
    if isinstance(cell, str) and DAMAGED.match(text):
        sentence = f"“{text}” is what a spreadsheet makes of a name such as 2E05."
        fix = "Write what the label says, and format the column as text."
        return Got(None, text, "damaged_name", sentence, fix)
    if isinstance(cell, int | float) and dialect.bare_names != AS_IT_STANDS:
        sentence = f"“{text}” is a number where a name belongs; zeros before it would be lost."
        fix = "Answer the question about it, or write what the label says."
        return Got(None, text, "number_for_name", sentence, fix)
    return Got(text.removeprefix("'"), text)
