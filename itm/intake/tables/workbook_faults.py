"""Cells of one sheet that say nothing to a reader: errors, and formulas without their value.

The library that reads workbooks gives both as empty, and a figure would be lost without a word. So
the markup of the sheet itself is looked through (ISO/IEC 29500-1, 18.3.1.4 and 18.18.11), piece by
piece as it unpacks.
"""

import posixpath
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

CHUNK = 1 << 20
MOST = 10_000  # that are found; nobody mends more at once
NO_VALUE = ""  # of a formula, as a writer leaves it that does not calculate
Fault = tuple[int, int, str]  # row from 1, column from 0, the error or NO_VALUE
# One of these stands in every piece with a fault.
SIGNS = (b'"e"', b"'e'", b"<f>", b"<f ", b"<f/", b":f>", b":f ")
ROW_ENDS = (b"</row>", b":row>")
PARTS = re.compile(
    rb"<(?:\w+:)?(?:row\b(?P<row>[^>]*)>|c\b(?P<cell>[^>]*?)(?:/>|>(?P<held>.*?)</(?:\w+:)?c\s*>))",
    re.DOTALL,
)
PLACE = re.compile(rb"""\br\s*=\s*["']([A-Z]*)(\d*)["']""")
TYPE = re.compile(rb"""\bt\s*=\s*["'](\w+)["']""")
FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
VALUE = re.compile(rb"<(?:\w+:)?v(?:\s[^>]*)?(?:/>|>(.*?)</)", re.DOTALL)


def faults(path: Path, sheet: str) -> list[Fault]:
    """In the order of the sheet. Raises LookupError where the workbook does not lead to it."""
    out: list[Fault] = []
    with zipfile.ZipFile(path) as packed, packed.open(part_of(packed, sheet)) as stream:
        found = _Found()
        rest = b""
        while chunk := stream.read(CHUNK):
            seen = rest + chunk
            ends = [at + len(sign) for sign in ROW_ENDS if (at := seen.rfind(sign)) >= 0]
            end = max(ends, default=0)
            out += found.of(seen[:end])
            rest = seen[end:]
            if len(out) > MOST:
                break
        out += found.of(rest)
    return out[:MOST]


def part_of(packed: zipfile.ZipFile, sheet: str) -> str:
    names = {name.casefold(): name for name in packed.namelist()}
    book = _tree(packed, names["xl/workbook.xml"])
    [link] = [
        value
        for one in book.iter()
        if _bare(one.tag) == "sheet" and one.get("name") == sheet
        for key, value in one.items()
        if key != "id" and _bare(key) == "id"
    ]
    links = _tree(packed, names["xl/_rels/workbook.xml.rels"])
    target = next(one.get("Target", "") for one in links.iter() if one.get("Id") == link)
    return names[posixpath.normpath(posixpath.join("/xl", target)).lstrip("/").casefold()]


def _tree(packed: zipfile.ZipFile, name: str) -> ElementTree.Element:
    # What declares entities was refused when it came, and this process may take little memory.
    return ElementTree.fromstring(packed.read(name))  # noqa: S314  # nosec B314


def _bare(name: str) -> str:
    return name.rpartition("}")[2]


class _Found:
    """Cells may leave out where they stand, and then each is beside or below the one before."""

    def __init__(self) -> None:
        self.row = self.column = 0
        self.placed = True  # so far every row and cell said it

    def of(self, seen: bytes) -> Iterator[Fault]:
        if self.placed and not any(sign in seen for sign in SIGNS) and b' r="' in seen:
            return
        for part in PARTS.finditer(seen):
            if part["row"] is not None:
                said = PLACE.search(part["row"])
                self.row = int(said[2]) if said and said[2] else self.row + 1
                self.column = 0
                continue
            said = PLACE.search(part["cell"])
            self.placed = self.placed and said is not None
            if said and said[1] and said[2]:
                self.row, self.column = int(said[2]), _number(said[1])
            fault = _fault(part["cell"], part["held"] or b"")
            if fault is not None:
                yield self.row, self.column, fault
            self.column += 1


def _fault(head: bytes, held: bytes) -> str | None:
    kind = found[1] if (found := TYPE.search(head)) else b""
    value = VALUE.search(held)
    if kind == b"e":
        return (value[1] or b"").decode(errors="replace") if value else "#VALUE!"
    if not FORMULA.search(held) or (value and value[1]):
        return None
    # A formula may give an empty text, which is a value.
    return None if value and kind == b"str" else NO_VALUE


def _number(letters: bytes) -> int:
    out = 0
    for letter in letters:
        out = 26 * out + letter - 64
    return out - 1
