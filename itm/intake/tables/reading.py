"""A table as values, block by block, under the dialect of its file."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np

from itm.intake.tables.blocks import Block
from itm.intake.tables.cell_values import Got, read_cell
from itm.intake.tables.cells import Cell, CellProblem, all_bare, text_of
from itm.intake.tables.dialect import Dialect
from itm.intake.tables.head import Head
from itm.intake.tables.layout import Layout
from itm.intake.tables.limits import MOST_COLUMNS
from itm.intake.tables.survey import filled
from itm.intake.tables.unit_questions import unit_at

MOST_KEPT = 50_000  # different cells of a column that are remembered
MOST_PROBLEMS = 200  # that are told; the others are counted
A_CELL = 3  # rows at which one and the same cell is told
BEYOND = (
    "A decimal comma makes two columns of one figure: write a point, or put the figure into "
    "quotation marks. If it is a column of its own, give it a head."
)


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
        said: Mapping[str, str] | None = None, width: int = MOST_COLUMNS,
    ) -> None:  # fmt: skip
        """`last` is the last row of the table, as the survey found it; `known` reads columns whose
        names are known already; `said` is what people said of columns that the file lacks; beyond
        `width` columns nothing may stand."""
        self.layout, self.head, self.columns, self.dialect = layout, head, columns, dialect
        self.last, self.known, self.width = last, known or {}, width
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
        found = self._beyond(block, rows)
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

    def _beyond(self, block: Block, rows: Any) -> list[CellProblem]:
        """Cells to the right of the last head, the first of each row. An unquoted decimal comma
        pushes the rest of its row there."""
        beyond: dict[int, int] = {}
        for at in range(len(block.columns) - 1, self.width - 1, -1):
            column = block.column(at)
            there = rows[filled(column)[rows]].tolist()
            beyond |= dict.fromkeys(there, at)
        out = []
        for index, at in sorted(beyond.items()):
            column, row = block.column(at), block.first + index
            text = text_of(column.distinct[column.codes[index]])[:40]
            sentence = f"“{text}” stands to the right of the last head, so the row is pushed aside."
            out.append(CellProblem(row, at, "beyond_head", sentence, BEYOND))
        return out

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
        return unit_at(self.head, self.columns[name], self.layout.column(name))
