"""Finds the heads of a table, and which of them is which of our columns."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from itm.intake.tables.cells import Cell, text_of
from itm.intake.tables.layout import Layout
from itm.intake.tables.units import apart, unit_of

NO_UNIT = ("-", "–", "—")
WITHIN = 30  # rows: what stands above a table is a letterhead, not a novel


@dataclass(frozen=True)
class Head:
    """Rows of the heads, counted from 1; the table begins below `last`."""

    first: int
    last: int
    names: tuple[str, ...]
    units: tuple[str, ...]


def folded(name: str) -> str:
    """Lower or upper case, lines and dots make no other name."""
    return re.sub(r"[\W_]+", " ", name.casefold()).strip()


def find_head(rows: Sequence[Sequence[Cell]], layout: Layout) -> Head:
    """The row whose cells are most of the names we know, else the first that is all words.

    Where two rows say it together, as merged cells above do (“Limits” over “lower” and “upper”),
    they are read together.
    """
    known = vocabulary(layout)
    best, at = (0.0, 0), None
    for index, row in enumerate(rows[:WITHIN]):
        for upper in (None, rows[index - 1] if index else None):
            names = joined(upper, row)
            hits = sum(folded(apart(name)[0]) in known or folded(name) in known for name in names)
            # Of two readings that know as much, the one with one row.
            score = (hits - (0.5 if upper is not None else 0.0), -index)
            if hits and score > best:
                best, at = score, (index, upper is not None)
    if at is None:
        at = (_first_of_words(rows[:WITHIN]), False)
    index, two = at
    return head_at(rows, index, two)


def head_at(rows: Sequence[Sequence[Cell]], index: int, two: bool = False) -> Head:
    """`index` counts from 0. A row of units below the heads belongs to them."""
    if index >= len(rows):
        return Head(1, 1, (), ())
    if not two and _says_units(rows[index + 1] if index + 1 < len(rows) else ()):
        index, two = index + 1, True
    names = joined(rows[index - 1] if two else None, rows[index])
    units = tuple(apart(name)[1] for name in names)
    return Head(index + (0 if two else 1), index + 1, tuple(names), units)


def _says_units(row: Sequence[Cell]) -> bool:
    """Units, and lines where there is none, but nothing else."""
    filled = [text.strip("()[]") for cell in row if (text := text_of(cell))]
    units = [text for text in filled if unit_of(text)]
    return bool(units) and all(text in units or text in NO_UNIT for text in filled)


def joined(upper: Sequence[Cell] | None, row: Sequence[Cell]) -> list[str]:
    """Names of one row, or of two of which the upper one is merged over several."""
    lower = [text_of(cell) for cell in row]
    if upper is None:
        return lower
    out, above = [], ""
    for column, name in enumerate(lower):
        here = text_of(upper[column]) if column < len(upper) else ""
        above = here or (above if name else "")
        out.append(" ".join(filter(None, (above, name))))
    return out


def _first_of_words(rows: Sequence[Sequence[Cell]]) -> int:
    for index, row in enumerate(rows):
        filled = [cell for cell in row if text_of(cell)]
        if len(filled) > 1 and all(isinstance(cell, str) for cell in filled):
            return index
    return 0


def vocabulary(layout: Layout) -> dict[str, str]:
    """Folded name → our name; our own names go before the others."""
    out: dict[str, str] = {}
    for column in layout.columns:
        for name in (column.name, column.label):
            out[folded(name)] = column.name
    for column in layout.columns:
        for name in column.aliases:
            out.setdefault(folded(name), column.name)
    return out


def match(
    head: Head, layout: Layout, remembered: Mapping[str, Sequence[str]] | None = None
) -> dict[str, int]:
    """Our name → column of the file, from 0. What an organisation said before goes first."""
    known = vocabulary(layout)
    out: dict[str, int] = {}
    for name, texts in (remembered or {}).items():
        there = [head.names.index(text) for text in texts if text in head.names]
        if name in layout.names and there and there[0] not in out.values():
            out[name] = there[0]
    for index, text in enumerate(head.names):
        if index in out.values() or not text:
            continue
        ours = known.get(folded(text)) or known.get(folded(apart(text)[0]))
        if ours is not None and ours not in out:
            out[ours] = index
    return out
