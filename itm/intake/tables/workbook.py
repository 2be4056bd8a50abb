"""Reads a workbook (XLSX, ISO/IEC 29500) in a process of its own, after a look at its parts.

A workbook is a packed folder: a small one may unpack to more than the machine holds, and a single
cell far out makes a reader lay out everything before it. So the parts are counted as they unpack,
far cells are refused before the reader sees them, and the reader may take so much memory only.
"""

import marshal
import re
import subprocess
import sys
import zipfile
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from itm.core.errors import Refused
from itm.intake.tables.blocks import Block, Column
from itm.intake.tables.limits import (
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_PARTS,
    MOST_ROWS,
    MOST_UNPACKED,
    too_many_rows,
    too_wide,
)
from itm.intake.tables.workbook_faults import Fault

CHUNK = 1 << 20
OVERLAP = 64  # bytes: longer than what is looked for, so that no chunk hides its edge
ROOT = Path(__file__).resolve().parents[3]
# A row from 200,000 on, or a column beyond GR, which is the 200th. Every writer puts it like this,
# and the literal beginning is what makes the search fast; whoever writes it otherwise is searched
# for more slowly.
FAR = re.compile(rb'r="(?:[A-Z]{0,3}(?:\d{7,}|[2-9]\d{5})"|(?:[A-Z]{3}|[H-Z][A-Z]|G[S-Z])\d)')
FAR_OTHERWISE = re.compile(
    rb"""\br\s*=\s*["'](?:[A-Z]{0,3}(?:\d{7,}|[2-9]\d{5})["']|(?:[A-Z]{3}|[H-Z][A-Z]|G[S-Z])\d)"""
)
OTHERWISE = (b"r='", b"r =", b"r\t", b"r\n", b"r\r", b"r= ")
# A workbook declares no entities; one that does wants to grow, or to read what is not its own.
DECLARES = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)
_READER = "itm.intake.tables.workbook_reader"


def require_harmless(path: Path) -> None:
    """Refused too_many_parts, unpacks_too_large, far_cell, declares_entities, broken_workbook,
    locked_workbook."""
    try:
        with zipfile.ZipFile(path) as packed:
            parts = packed.infolist()
            if len(parts) > MOST_PARTS:
                raise _bomb("too_many_parts")
            if sum(part.file_size for part in parts) > MOST_UNPACKED:
                raise _bomb("unpacks_too_large")
            left = MOST_UNPACKED
            for part in parts:
                if part.flag_bits & 0x1:
                    raise Refused(
                        "locked_workbook", "This workbook has a password: save it without.",
                        "chosen",
                    )  # fmt: skip
                left -= _look_through(packed, part, left)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, OSError, ValueError) as error:
        raise broken() from error
    except (NotImplementedError, RuntimeError) as error:  # packed in a way that nobody uses
        raise broken() from error


def _look_through(packed: zipfile.ZipFile, part: zipfile.ZipInfo, left: int) -> int:
    """Bytes as they really unpack: what a packed folder says of itself may be a lie."""
    taken, tail = 0, b""
    is_markup = part.filename.endswith((".xml", ".rels", ".vml"))
    is_sheet = "worksheets/" in part.filename
    with packed.open(part) as stream:
        while chunk := stream.read(CHUNK):
            taken += len(chunk)
            if taken > left:
                raise _bomb("unpacks_too_large")
            seen = tail + chunk
            if is_markup and DECLARES.search(seen):
                raise Refused(
                    "declares_entities",
                    "This workbook declares entities of its own, which none needs. Save it anew "
                    "with your spreadsheet program.",
                    "chosen",
                )
            if is_sheet and _far(seen):
                raise Refused(
                    "far_cell",
                    f"This workbook has something in a cell far out, beyond row {MOST_ROWS:,} or "
                    f"column {MOST_COLUMNS}. Delete the empty rows and columns around the table, "
                    "or divide it.",
                    "chosen",
                )
            tail = seen[-OVERLAP:]
    return taken


def _far(seen: bytes) -> bool:
    pattern = FAR_OTHERWISE if any(sign in seen for sign in OTHERWISE) else FAR
    return pattern.search(seen) is not None


def _bomb(code: str) -> Refused:
    return Refused(
        code,
        f"This workbook unpacks to more than {MOST_UNPACKED // 1_000_000} MB or {MOST_PARTS:,} "
        "parts. Save only the sheet with the table.",
        "chosen",
    )


def broken() -> Refused:
    return Refused(
        "broken_workbook", "This workbook is cut off or damaged. Open it and save it again.",
        "chosen",
    )  # fmt: skip


def sheets(path: Path) -> list[tuple[str, int]]:
    """Name and number of rows of every sheet that holds something."""
    with _reading(path) as (process, stream):
        found: list[tuple[str, int]] = _taken(process, stream)
    return found


def faults(path: Path, sheet: str) -> list[Fault]:
    """Cells with an error, or with a formula whose value the file does not have. Refused as
    `workbook_blocks`."""
    with _reading(path, sheet, "faults") as (process, stream):
        found: list[Fault] = _taken(process, stream)
    return found


def hidden(path: Path, sheet: str) -> list[int]:
    """Rows that are hidden and hold something. Refused as `workbook_blocks`."""
    with _reading(path, sheet, "hidden") as (process, stream):
        found: list[int] = _taken(process, stream)
    return found


def workbook_blocks(path: Path, sheet: str) -> Iterator[Block]:
    """As the sheet numbers its rows. A cell is text, a number, or a day as a tuple.

    Refused broken_workbook, too_much_memory, too_many_rows, too_wide, too_many_cells, no_sheet.
    """
    with _reading(path, sheet) as (process, stream):
        width, height = _taken(process, stream)
        if width > MOST_COLUMNS:
            raise too_wide(width)
        if height > MOST_ROWS:
            raise too_many_rows()
        if width * height > MOST_CELLS:
            raise Refused(
                "too_many_cells",
                f"This sheet is laid out over {width * height:,} cells; {MOST_CELLS:,} are the "
                "most. Delete what lies beside the table, or divide it.",
                "chosen",
            )
        first = 1
        while (said := _taken(process, stream))[0]:
            count, columns = said
            codes = [
                Column(distinct, array("H", codes or bytes(2 * count)))
                for distinct, codes in columns
            ]
            yield Block(first, count, codes)
            first += count


class _reading:
    """The process that reads, ended with the block whatever happens in it."""

    def __init__(self, path: Path, *sheet: str) -> None:
        self.command = [sys.executable, "-m", _READER, str(path.resolve()), *sheet]

    def __enter__(self) -> tuple[subprocess.Popen[bytes], IO[bytes]]:
        self.process = subprocess.Popen(  # noqa: S603 - our own module, a path of our own making
            self.command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, cwd=ROOT,
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
        if self.process.stdout is None:
            raise LookupError("It was asked for.")
        return self.process, self.process.stdout

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()


def _taken(process: subprocess.Popen[bytes], stream: IO[bytes]) -> Any:
    """The next thing that the process says. It wrote it itself, so marshal may be believed."""
    try:
        got = marshal.load(stream)  # noqa: S302  # nosec B302
    except (EOFError, ValueError, TypeError) as error:
        code = process.wait()
        if code == 0:
            raise broken() from error
        raise Refused(
            "too_much_memory",
            "This workbook cannot be read: it is damaged, or takes more memory or time than one "
            "file may. Save only the sheet with the table, or save it as CSV.",
            "chosen",
        ) from error
    if isinstance(got, dict):
        raise Refused(got["code"], got["sentence"], got["place"])
    return got
