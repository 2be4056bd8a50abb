"""The process that reads one workbook: this module, with PATH [SHEET [faults | hidden]] behind it.

Writes to its output, as marshal: of no sheet the list of sheets, of a sheet its width and height
and then blocks until an empty one: the number of rows, and of each column its different cells and
in two bytes for each row which it is; or the faults of the sheet, or its hidden rows. It may take
so much memory and time and no more.
"""

import gc
import marshal
import resource
import sys
from collections.abc import Callable, Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from python_calamine import CalamineWorkbook

from itm.intake.tables.blocks import blocks
from itm.intake.tables.hidden_rows import hidden_rows
from itm.intake.tables.limits import LONGEST_READING, MOST_MEMORY
from itm.intake.tables.workbook_faults import faults

FORMAT = 2  # of marshal: later ones look whether each thing was written before
PLAIN = frozenset((str, float, int))
IN_THE_MARKUP: dict[str, Callable[[Path, str], Any]] = {"faults": faults, "hidden": hidden_rows}


def main(path: str, sheet: str = "", what: str = "") -> None:
    _bound()
    gc.disable()  # nothing here is a cycle, and the search for one goes through every row
    out = sys.stdout.buffer
    if what in IN_THE_MARKUP:
        marshal.dump(IN_THE_MARKUP[what](Path(path), sheet), out, FORMAT)
        return
    book = CalamineWorkbook.from_path(path)
    if not sheet:
        found = [(name, book.get_sheet_by_name(name)) for name in book.sheet_names]
        marshal.dump([(name, one.total_height) for name, one in found if one.height], out, FORMAT)
        return
    if sheet not in book.sheet_names:
        answer = {"code": "no_sheet", "sentence": f"There is no sheet “{sheet}”.", "place": "sheet"}
        marshal.dump(answer, out, FORMAT)
        return
    read = book.get_sheet_by_name(sheet)
    marshal.dump((read.total_width, read.total_height), out, FORMAT)
    # Rows begin with the first of the sheet, columns with the first that holds something.
    beside = [([""], b"")] * (read.start[1] if read.start else 0)
    rows: Iterator[Any] = read.iter_rows()
    for block in blocks(rows):
        columns = [
            ([_plain(cell) for cell in column.distinct], bytes(column.codes))
            for column in block.columns
        ]
        marshal.dump((block.count, [*beside, *columns]), out, FORMAT)
    marshal.dump((0, []), out, FORMAT)


def _bound() -> None:
    """Set from within: a process that forks to set it would copy the server first."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_READING, LONGEST_READING))


def _plain(cell: Any) -> Any:
    if type(cell) in PLAIN:
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        # A day count is good to some microseconds, so that 14:05 may come as 14:04:59.9999.
        near = cell + timedelta(milliseconds=500)
        parts = (near.year, near.month, near.day)
        clock = (near.hour, near.minute, near.second)
        return (*parts, *clock) if any(clock) else parts
    if isinstance(cell, date):
        return (cell.year, cell.month, cell.day)
    if isinstance(cell, time):
        return f"{cell:%H:%M:%S}" if cell.second else f"{cell:%H:%M}"
    if isinstance(cell, timedelta):
        return cell.total_seconds() / 86400
    return str(cell)


if __name__ == "__main__":
    main(*sys.argv[1:])
