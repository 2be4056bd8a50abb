"""Rows that a workbook hides, as a filter does: they are rows all the same, and nobody sees them.

Which they are stands in the markup alone (ISO/IEC 29500-1, 18.3.1.73, `hidden`); the library that
reads gives them like the others. So a person is
asked whether they belong to the table (`hidden_questions.py`).
"""

import re
import zipfile
from array import array
from collections.abc import Collection
from pathlib import Path

from itm.intake.tables.blocks import Block, Column
from itm.intake.tables.workbook_faults import CHUNK, PLACE, ROW_ENDS, part_of

ROW = re.compile(rb"<(?:\w+:)?row\b(?P<said>[^>]*)>")
HIDDEN = re.compile(rb"""\bhidden\s*=\s*["'](?:1|true)["']""")
HOLDS = re.compile(rb"<(?:\w+:)?(?:v|is|f)\b")


def hidden_rows(path: Path, sheet: str) -> list[int]:
    """Numbers of the rows that are hidden and hold something, in the order of the sheet."""
    out: list[int] = []
    number, rest = 0, b""
    with zipfile.ZipFile(path) as packed, packed.open(part_of(packed, sheet)) as stream:
        while chunk := stream.read(CHUNK):
            seen = rest + chunk
            ends = [at + len(sign) for sign in ROW_ENDS if (at := seen.rfind(sign)) >= 0]
            end = max(ends, default=0)
            number = _look(seen[:end], number, out)
            rest = seen[end:]
        _look(rest, number, out)
    return out


def _look(seen: bytes, number: int, out: list[int]) -> int:
    """The number of the last row in it."""
    rows = list(ROW.finditer(seen))
    for at, row in enumerate(rows):
        said = PLACE.search(row["said"])
        number = int(said[2]) if said and said[2] else number + 1
        if HIDDEN.search(row["said"]):
            end = rows[at + 1].start() if at + 1 < len(rows) else len(seen)
            if HOLDS.search(seen, row.end(), end):
                out.append(number)
    return number


def without(block: Block, rows: Collection[int]) -> Block:
    """The block with these rows left empty, so that all others keep their numbers."""
    indices = [row - block.first for row in rows if 0 <= row - block.first < block.count]
    if not indices:
        return block
    columns = []
    for column in block.columns:
        codes = array("H", column.codes)
        for index in indices:
            codes[index] = len(column.distinct)
        columns.append(Column([*column.distinct, ""], codes))
    return Block(block.first, block.count, columns)
