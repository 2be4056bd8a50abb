"""What stands in a cell, where it stands, and what is wrong with it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from itm.core.figures import day

Day = tuple[int, ...]  # year, month, day, and hour, minute and second where the cell had them
Cell = str | float | int | Day

SPACES = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f\u200b\ufeff"), " ")


@dataclass(frozen=True)
class CellProblem:
    """One sentence at one cell, with what would mend it. `column` counts from 0, `row` from 1."""

    row: int
    column: int | None
    code: str
    sentence: str
    fix: str = ""

    @property
    def place(self) -> str:
        return place(self.row, self.column)


def place(row: int, column: int | None) -> str:
    """C7, as a spreadsheet names it; a whole row is “row 7”."""
    return f"row {row}" if column is None else f"{letters(column)}{row}"


def letters(column: int) -> str:
    out = ""
    column += 1
    while column:
        column, left = divmod(column - 1, 26)
        out = chr(65 + left) + out
    return out


def is_day(cell: Cell) -> bool:
    return isinstance(cell, tuple)


def as_date(cell: Day) -> date:
    return date(*cell[:3])


def bare(text: str) -> str:
    """Without the spaces that only look like one, and without those around it."""
    short = text.strip()
    if short.isascii() and short.isprintable() and "  " not in short:
        return short  # as most cells are
    return " ".join(text.translate(SPACES).split())


def all_bare(cells: Sequence[Cell]) -> bool:
    """Whether each is text that reads as it stands. Asked of a whole column, because cell by cell
    the question costs more than anything else that is done with a text."""
    try:
        joined = "|".join(cells)  # type: ignore[arg-type]  # that is what is asked
    except TypeError:
        return False
    plain = joined.isascii() and joined.isprintable() and "  " not in joined
    return plain and list(map(str.strip, cells)) == list(cells)  # type: ignore[arg-type]


def text_of(cell: Cell) -> str:
    """As a person reads the cell: 712 and not 712.0, a day in words."""
    if isinstance(cell, str):
        return bare(cell)
    if isinstance(cell, tuple):
        return day(as_date(cell))
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return repr(cell)
