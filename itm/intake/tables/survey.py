"""One look through a whole table: where it ends, and which different cells each column holds."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from itm.intake.tables.blocks import Block, Column
from itm.intake.tables.cells import Cell, text_of
from itm.intake.tables.head import Head
from itm.intake.tables.layout import Layout
from itm.intake.tables.sums import is_worked_out

MOST_SEEN = 20_000  # different cells of a column that are kept; later ones tell nothing new
LONG_NOTE = 25  # characters: longer than what stands in a column of figures
MOST_NOTES = 20


@dataclass
class Survey:
    """`last` is the last row of the table; what stands below it may be notes, of which the first
    are kept as they read and all are counted."""

    rows: int = 0
    last: int = 0
    notes: list[tuple[int, str]] = field(default_factory=list)
    noted: int = 0
    end: int = 0  # the last row with anything in our columns, be it a note
    others: dict[int, int] = field(default_factory=dict)  # column that is none of ours → first row
    seen: dict[str, dict[Cell, int]] = field(default_factory=dict)  # our name → cell → first row

    def with_notes(self) -> "Survey":
        """Where a person says that what looks like notes are rows."""
        rows = self.rows + self.noted
        return replace(self, rows=rows, last=max(self.last, self.end), notes=[], noted=0)


class Knows(Protocol):
    """What knows the names of a column; `known.Known` is one."""

    def knows(self, cell: Cell) -> bool: ...


def look_through(
    table: Iterable[Block], head: Head, columns: Mapping[str, int], layout: Layout,
    *, known: Mapping[str, Knows] | None = None,
) -> Survey:  # fmt: skip
    """A row without anything in our columns is a blank line and is passed over. One that says a
    known name, or all that a row needs, is never a note."""
    out = Survey(seen={name: {} for name in columns})
    pending: list[tuple[int, str]] = []  # notes, or rows with holes if more of the table follows
    after_blank = False
    for block in table:
        counts = np.zeros(block.count, dtype=int)
        for at in columns.values():
            counts += filled(block.column(at))
        for index in np.flatnonzero((counts > 0) & (counts < 3)).tolist():
            row = block.first + index
            if row <= head.last:
                continue
            before = counts[index - 1] == 0 if index else after_blank
            cells = {
                name: cell
                for name, at in sorted(columns.items(), key=lambda item: item[1])
                if text_of(cell := block.column(at).distinct[block.column(at).codes[index]])
            }
            text = " ".join(map(text_of, cells.values()))
            if len(columns) > 2 and _is_note(text, int(counts[index]), bool(before)):
                if _is_row(cells, columns, layout, known or {}):
                    continue
                pending.append((row, text))
                counts[index] = 0
        rows = np.flatnonzero(counts > 0) + block.first
        rows = rows[rows > head.last]
        if len(rows):
            out.rows += len(rows)
            out.last = int(rows[-1])
        after_blank = bool(counts[-1] == 0)
        _gather(out, block, head, columns)
        _look_beside(out, block, head, columns)
    below = [(row, text) for row, text in pending if row > out.last]
    out.notes, out.noted = below[:MOST_NOTES], len(below)
    out.end = below[-1][0] if below else out.last
    # What looked like a note amid the table is a row with holes, and is said to be one.
    out.rows += sum(row < out.last for row, _ in pending)
    return out


def _is_note(text: str, cells: int, after_blank: bool) -> bool:
    return is_worked_out(text) or (cells == 1 and (after_blank or len(text) > LONG_NOTE))


def _is_row(
    cells: Mapping[str, Cell], columns: Mapping[str, int], layout: Layout,
    known: Mapping[str, Knows],
) -> bool:  # fmt: skip
    """“minimum 1” may be a bottle, and “Max Quay” a site: their rows have holes at most."""
    if any(name in known and known[name].knows(cell) for name, cell in cells.items()):
        return True
    return not layout.lacks({name: columns[name] for name in cells})


def _gather(out: Survey, block: Block, head: Head, columns: Mapping[str, int]) -> None:
    """The first row of every different cell; what stands above the table is none of it."""
    skip = max(0, min(block.count, head.last - block.first + 1))
    for name, at in columns.items():
        seen, column = out.seen[name], block.column(at)
        fresh = {k for k, cell in enumerate(column.distinct) if cell not in seen}
        if not fresh or len(seen) >= MOST_SEEN:
            continue
        codes = np.asarray(column.codes[skip:])
        kinds, firsts = np.unique(codes, return_index=True)
        for code, index in zip(kinds.tolist(), firsts.tolist(), strict=True):
            if code in fresh:
                seen[column.distinct[code]] = block.first + skip + index


def _look_beside(out: Survey, block: Block, head: Head, columns: Mapping[str, int]) -> None:
    """Columns that nobody reads, and where the first thing stands in them."""
    skip = max(0, head.last - block.first + 1)
    for at in range(len(block.columns)):
        if at in out.others or at in columns.values():
            continue
        there = np.flatnonzero(filled(block.column(at))[skip:])
        if len(there):
            out.others[at] = block.first + skip + int(there[0])


def filled(column: Column) -> NDArray[np.bool_]:
    """Of each row whether something stands there."""
    has = np.array([_says(cell) for cell in column.distinct])
    out: NDArray[np.bool_] = has[np.asarray(column.codes)]
    return out


def _says(cell: Cell) -> bool:
    # Nearly every cell begins with a letter or digit, which settles it.
    return not isinstance(cell, str) or "!" <= cell[:1] <= "~" or bool(text_of(cell))
