"""Cells as values, under the dialect of their file. Each different cell is read once."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple, Protocol

import numpy as np

from itm.core.figures import day
from itm.intake.tables import days, moments, numbers
from itm.intake.tables.blocks import Block
from itm.intake.tables.cells import Cell, CellProblem, all_bare, as_date, text_of
from itm.intake.tables.dialect import AS_IT_STANDS, FRACTION, LEAVE_EMPTY, Dialect
from itm.intake.tables.head import Head
from itm.intake.tables.layout import Layout, TableColumn
from itm.intake.tables.survey import filled

MOST_KEPT = 50_000  # different cells of a column that are remembered
MOST_PROBLEMS = 200  # that are told; the others are counted
FINEST_PERCENT = Decimal("0.000001")
A_CELL = 3  # rows at which one and the same cell is told
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


@dataclass
class Told:
    """Problems in the order they were found, as many as somebody will read; all are counted."""

    problems: list[CellProblem] = field(default_factory=list)
    count: int = 0

    def add(self, *found: CellProblem) -> None:
        self.count += len(found)
        self.problems += found[: max(0, MOST_PROBLEMS - len(self.problems))]

    def __bool__(self) -> bool:
        return self.count > 0


@dataclass(frozen=True)
class Batch:
    """Some rows of the table, column by column and under our names."""

    rows: list[int]
    values: Mapping[str, list[Any]]
    typed: Mapping[str, list[str]]
    names: tuple[str, ...]

    def row(self, index: int) -> dict[str, Any]:
        return {name: self.values[name][index] for name in self.names}


class Typed(dict[str, list[str]]):
    """What stood in each column, written out once somebody asks: most columns nobody does."""

    def __init__(self) -> None:
        super().__init__()
        self.held: dict[str, tuple[list[Got], list[int]]] = {}

    def __missing__(self, name: str) -> list[str]:
        read, codes = self.held.pop(name)
        each = [got.typed for got in read]
        self[name] = [each[code] for code in codes]
        return self[name]


class Names(Protocol):
    """What knows the names of a column; `known.Known` is one."""

    def read(self, cell: Cell) -> Got: ...
    def offers(self, cell: Cell) -> list[str]: ...


class Reader:
    """Reads a table block by block. What is wrong is told and its value is None."""

    def __init__(
        self, layout: Layout, head: Head, columns: Mapping[str, int], dialect: Dialect,
        *, last: int, known: Mapping[str, "Names"] | None = None,
        said: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        """`last` is the last row of the table, as the survey found it; `known` reads columns whose
        names are known already; `said` is what people said of columns that the file lacks."""
        self.layout, self.head, self.columns, self.dialect = layout, head, columns, dialect
        self.last, self.known = last, known or {}
        self.told = Told()
        self.unknown: dict[tuple[str, str], tuple[CellProblem, list[str]]] = {}
        self._known: dict[str, dict[Cell, Got]] = {name: {} for name in columns}
        self._ways = {name: (layout.column(name), self._unit(name)) for name in columns}
        self._said = {
            name: read_cell(text, layout.column(name), Dialect(decimal="," if "," in text else "."))
            for name, text in (said or {}).items()
        }

    def batches(self, table: Iterable[Block]) -> Iterator[Batch]:
        for block in table:
            if block.first > self.last:
                continue  # notes
            rows = self._rows(block)
            if not len(rows):
                continue
            yield self._batch(block, rows)

    def _rows(self, block: Block) -> Any:
        """Of the block, counted from 0: within the table and not blank."""
        there: Any = np.zeros(block.count, dtype=bool)
        for at in self.columns.values():
            there |= filled(block.column(at))
            if there.all():
                break
        there[: max(0, self.head.last - block.first + 1)] = False
        there[max(0, self.last - block.first + 1) :] = False
        return np.flatnonzero(there)

    def _batch(self, block: Block, rows: Any) -> Batch:
        values: dict[str, list[Any]] = {}
        typed = Typed()
        found: list[CellProblem] = []
        for name, at in self.columns.items():
            cells = block.column(at)
            codes = np.asarray(cells.codes)[rows]
            held = codes.tolist()
            if self._reads_itself(name, cells.distinct):
                values[name] = typed[name] = [cells.distinct[code] for code in held]
                continue
            read = self._read_all(name, cells.distinct)
            one = [got.value for got in read]
            values[name] = [one[code] for code in held]
            typed.held[name] = (read, held)
            for code, got in enumerate(read):
                if not got.code:
                    continue
                places = (rows[codes == code] + block.first).tolist()
                if places:
                    found += self._tell(name, got, at, places)
                    if name in self.known and got.typed:
                        offers = self.known[name].offers(cells.distinct[code])
                        self.unknown.setdefault((name, got.typed), (found[-1], offers))
        self.told.add(*sorted(found, key=lambda problem: (problem.row, problem.column or 0)))
        numbers_of_rows = (rows + block.first).tolist()
        for column in self.layout.columns:
            if column.name not in values:
                empty = Got(None if column.is_figure or column.is_dated else "")
                for_all = self._said.get(column.name, empty)
                values[column.name] = [for_all.value] * len(numbers_of_rows)
                typed[column.name] = [for_all.typed] * len(numbers_of_rows)
        return Batch(numbers_of_rows, values, typed, tuple(self.layout.names))

    def _tell(self, name: str, got: Got, at: int, rows: list[int]) -> list[CellProblem]:
        self.told.count += max(0, len(rows) - A_CELL)
        more = f" So in {len(rows)} rows." if len(rows) > A_CELL else ""
        return [
            CellProblem(row, at, got.code, got.sentence + more, got.fix) for row in rows[:A_CELL]
        ]

    def _reads_itself(self, name: str, cells: Sequence[Cell]) -> bool:
        """A column of plain text, in which nothing can be wrong and nothing has to be looked up."""
        column, _ = self._ways[name]
        if column.kind != "text" or name in self.known or not all_bare(cells):
            return False
        lengths = [*map(len, cells)]  # type: ignore[arg-type]  # all of it is text
        return max(lengths) <= column.longest and not (column.needed and 0 in lengths)

    def _read_all(self, name: str, cells: Sequence[Cell]) -> list[Got]:
        known = self._known[name]
        if len(known) > MOST_KEPT:
            known.clear()
        column, unit = self._ways[name]
        names = self.known.get(name)
        for cell in cells:
            if cell not in known:
                known[cell] = (
                    names.read(cell) if names else read_cell(cell, column, self.dialect, unit)
                )
        return [known[cell] for cell in cells]

    def _unit(self, name: str) -> str:
        at = self.columns[name]
        said = self.head.units[at] if at < len(self.head.units) else ""
        return said or (self.dialect.units or {}).get(name, "")


def read_cell(cell: Cell, column: TableColumn, dialect: Dialect, unit: str = "") -> Got:
    """Codes: missing, not_a_number, other_decimal, no_unit, other_unit, too_large, nothing,
    not_a_day, not_a_time, no_time, short_year, order_open, day_for_name, number_for_name,
    damaged_name, not_a_choice, too_long."""
    text = text_of(cell)
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
    if column.kind == "percent":
        return _percent(value, said or unit, text, column, dialect)
    return _amount(value, said or unit, text, column)


def _unread(dialect: Dialect) -> str:
    if not dialect.decimal:
        return "can be read in two ways"
    sign = "comma" if dialect.decimal == "," else "point"
    return f"cannot be read with a decimal {sign}, as the other figures of this file are"


def _percent(value: Decimal, said: str, text: str, column: TableColumn, dialect: Dialect) -> Got:
    if said not in ("", "%"):
        return _other_unit(text, said, column, ("%",))
    if "%" not in text and dialect.percent == FRACTION:
        value = (100 * value).normalize()
    if column.most is not None and not 0 <= value <= column.most:
        return Got(None, text, "too_large", f"“{text}” is no percent: it is 0 to {column.most}.",
                   "Look for the decimal sign.")  # fmt: skip
    # Zeros at the end that were typed stay; beyond what the column keeps, it is rounded.
    exact = value.quantize(FINEST_PERCENT)
    return Got(value if value == exact else exact.normalize(), text)


def _amount(value: Decimal, unit: str, text: str, column: TableColumn) -> Got:
    if column.kind == "quantity" and not unit:
        return Got(None, text, "no_unit", f"“{text}” has no unit.",
                   f"Write it as {text} {column.units[0]}.")  # fmt: skip
    if unit and unit not in column.units:
        return _other_unit(text, unit, column, column.units)
    if column.most is not None and abs(value) > column.most:
        return Got(None, text, "too_large", f"“{text}” is beyond {column.most}.",
                   "Look for the decimal sign.")  # fmt: skip
    return Got(Amount(value, unit) if column.kind in ("quantity", "measure") else value, text)


def _other_unit(text: str, unit: str, column: TableColumn, units: tuple[str, ...]) -> Got:
    right = " or ".join(units) if units else "no unit"
    sentence = f"“{text}” is read in {unit}; {column.label.lower()} is given in {right}."
    return Got(None, text, "other_unit", sentence, f"Write it in {right}.")


def _day(cell: Cell, text: str, column: TableColumn, dialect: Dialect) -> Got:
    found = days.day_in(cell, dialect.order, dialect.count)
    if found is not None:
        return Got(found, text)
    if days.has_short_year(cell):
        return Got(None, text, "short_year", f"“{text}” has a year of two figures.",
                   "Write the year with four.")  # fmt: skip
    if days.tells(cell) == "unclear" or days.count_in(cell) is not None:
        return Got(None, text, "order_open", f"“{text}” can be read in two ways.",
                   "Answer the question about the days of this file.")  # fmt: skip
    return Got(None, text, "not_a_day", f"“{text}” is no day of the calendar.",
               "Write year, month and day, such as 2026-04-03.")  # fmt: skip


def _moment(cell: Cell, text: str, column: TableColumn, dialect: Dialect) -> Got:
    found = moments.moment_in(cell, dialect.order, dialect.count)
    if found is not None:
        return Got(found, found.words if isinstance(cell, tuple) else text)
    if days.tells(cell) == "unclear" and not dialect.order:
        return Got(None, text, "order_open", f"“{text}” can be read in two ways.",
                   "Answer the question about the days of this file.")  # fmt: skip
    if days.day_in(cell, dialect.order, dialect.count) is not None:
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
