"""A table in blocks of rows, each column as its different cells and which row holds which.

A column of a long table says the same few things again and again: a tag, a day, a limit. So each
different cell is read and judged once a block, and a row costs no more than its number in a list.
"""

from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from itm.intake.tables.cells import Cell

ROWS = 4_096  # of one block; the numbers in a column fit into two bytes


@dataclass(frozen=True)
class Column:
    """`distinct` holds each different cell once, `codes` for each row its place there."""

    distinct: list[Cell]
    codes: Sequence[int]

    def cells(self) -> list[Cell]:
        distinct = self.distinct
        return [distinct[code] for code in self.codes]


@dataclass(frozen=True)
class Block:
    """Rows from `first` on, counted as the spreadsheet counts; every column as long as the rows."""

    first: int
    count: int
    columns: list[Column]

    def rows(self) -> list[tuple[Cell, ...]]:
        return list(zip(*(column.cells() for column in self.columns), strict=True))

    def column(self, index: int) -> Column:
        """One that a short table does not reach holds nothing."""
        if index < len(self.columns):
            return self.columns[index]
        return Column([""], array("H", bytes(2 * self.count)))


def coded(cells: Sequence[Cell]) -> Column:
    distinct = list(dict.fromkeys(cells))
    place = {cell: code for code, cell in enumerate(distinct)}
    return Column(distinct, array("H", map(place.__getitem__, cells)))


def blocks(rows: Iterable[Sequence[Cell]]) -> Iterator[Block]:
    """Rows may be of unequal length, as in a text file: what is missing holds nothing."""
    taken, first = iter(rows), 1
    while some := list(islice(taken, ROWS)):
        width = max(map(len, some))
        if min(map(len, some)) < width:
            some = [[*row, *[""] * (width - len(row))] for row in some]
        columns = [coded(cells) for cells in zip(*some, strict=True)]
        yield Block(first, len(some), columns)
        first += len(some)
