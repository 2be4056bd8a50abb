"""Which letters the bytes of a text file stand for, and which sign parts its columns."""

import codecs
import csv
import io
import unicodedata
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

from itm.core.errors import Refused
from itm.intake.tables.limits import (
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    too_many_rows,
    too_wide,
)

# What a person may choose from where the bytes do not settle it.
ENCODINGS = {
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "cp1252": "Windows-1252 (Western Europe)",
    "cp1250": "Windows-1250 (Central Europe)",
    "iso8859-15": "ISO 8859-15 (Western Europe)",
    "mac-roman": "Mac Roman",
}
DELIMITERS = {
    ";": "semicolon (;)",
    ",": "comma (,)",
    "\t": "tabulator",
    "|": "upright stroke (|)",
    "": "none: it has one column",
}
CHUNK = 1 << 16
SAMPLE_ROWS = 60
MARKS = (
    (codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
)  # fmt: skip
_CODEC = {"utf-8": "utf-8-sig"}
END = "\x03"
NO_LETTERS = frozenset(("Cc", "Cn", "Co", "Cs"))  # control, unassigned, private, halves of a pair


@dataclass(frozen=True)
class Letters:
    """`sure` when the bytes themselves settle it; `words` are those that would read otherwise."""

    encoding: str
    sure: bool
    words: tuple[str, ...] = ()


def letters_of(path: Path) -> Letters:
    """Refused not_text. Every byte is looked at: one letter at the end may settle it."""
    with path.open("rb") as file:
        head = file.read(CHUNK)
    for mark, name in MARKS:
        if head.startswith(mark):
            _require_text(path, name)
            return Letters(name, sure=True)
    if b"\0" in head:
        return _without_mark(path, head)
    if _decodes(path, "utf-8"):
        return Letters("utf-8", sure=True)
    name = "cp1252" if _decodes(path, "cp1252") else "mac-roman"
    return Letters(name, sure=False, words=_telling_words(path, name))


def _without_mark(path: Path, head: bytes) -> Letters:
    """UTF-16 whose mark is missing: signs, digits and blanks of a table have their nothings in
    every other byte, whatever letters stand between, and what comes of it is all text."""
    even, odd = head[0::2].count(0), head[1::2].count(0)
    name = "utf-16-le" if odd > even else "utf-16-be"
    if max(even, odd) * 10 < len(head) // 2 or min(even, odd) * 10 > max(even, odd):
        raise _no_text()
    _require_text(path, name)
    read = set(head[: len(head) // 2 * 2].decode(name, errors="replace")) - set("\t\r\n")
    if any(unicodedata.category(letter) in NO_LETTERS for letter in read):
        raise _no_text()
    return Letters(name, sure=True)


def _require_text(path: Path, name: str) -> None:
    if not _decodes(path, name):
        raise _no_text()


def _no_text() -> Refused:
    return Refused(
        "not_text", "This file is neither a text with columns nor a workbook (XLSX).", "chosen"
    )


def _decodes(path: Path, name: str) -> bool:
    decoder = codecs.getincrementaldecoder(name)()
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _telling_words(path: Path, name: str) -> tuple[str, ...]:
    """The first words with a letter that is not the same in every encoding."""
    found: dict[str, None] = {}
    with path.open(encoding=name, errors="replace", newline="") as file:
        for line in file:
            for word in line.replace(";", " ").replace(",", " ").split():
                if not word.isascii():
                    found[word.strip('"')[:30]] = None
            if len(found) >= 5:
                break
    return tuple(found)[:5]


def delimiter_of(path: Path, encoding: str) -> str | None:
    """The sign that parts most lines into the same number of columns; None where two could.

    A comma that is a decimal sign parts lines too, but not alike, or fewer than the semicolon.
    """
    with _opened(path, encoding) as file:
        lines = [line for line, _ in zip(file, range(SAMPLE_ROWS), strict=False)]
    if lines and lines[0].lower().startswith("sep=") and len(lines[0].strip()) == 5:
        return lines[0].strip()[4]
    scores = {sign: _score(lines, sign) for sign in DELIMITERS if sign}
    best = max(scores.values())
    if best == 0:
        return ""
    at_best = [sign for sign, score in scores.items() if score >= 0.9 * best]
    return at_best[0] if len(at_best) == 1 else None


def _score(lines: Sequence[str], sign: str) -> float:
    """Share of the lines with the usual number of columns, times how many these are."""
    try:
        widths = [len(row) for row in csv.reader(lines, delimiter=sign) if any(map(str.strip, row))]
    except csv.Error:
        return 0.0
    counted = Counter(width for width in widths if width > 1)
    if not counted:
        return 0.0
    width, often = max(counted.items(), key=lambda item: (item[1], item[0]))
    return often / len(widths) * min(width, 12) ** 0.5


def _opened(path: Path, encoding: str) -> io.TextIOWrapper:
    return path.open(encoding=_CODEC.get(encoding, encoding), errors="strict", newline="")


def csv_rows(path: Path, encoding: str, delimiter: str) -> Iterator[list[str]]:
    """Row by row as a spreadsheet numbers them; the file is never in memory as a whole.

    Refused too_many_rows, too_wide, long_cell, too_many_cells, wrong_encoding, broken_text,
    open_quote.
    """
    sign, cells, number = delimiter or "\x1f", 0, 0
    before: list[str] | None = None
    with _opened(path, encoding) as file:
        # The mark behind the last line comes back as a row, unless a quotation swallows it too.
        reader = csv.reader(chain(file, (END,)), delimiter=sign, strict=False)
        try:
            for number, row in enumerate(reader, 1):
                if before is not None:
                    yield before
                if number == 1 and len(row) <= 2 and "".join(row)[:4].lower() == "sep=":
                    row = []  # a line for the spreadsheet alone
                cells += len(row)
                if number > MOST_ROWS + 1 or len(row) > MOST_COLUMNS or cells > MOST_CELLS:
                    raise _too_large(number, len(row))
                before = row
        except csv.Error as error:
            raise _broken(number + 1, error) from error
        except UnicodeDecodeError as error:
            raise Refused(
                "wrong_encoding",
                f"Not every letter of this file is {ENCODINGS.get(encoding, encoding)}: it breaks "
                f"off after line {reader.line_num}. Choose another.",
                "encoding",
            ) from error
    if before != [END]:
        raise Refused(
            "open_quote",
            f"A quotation mark in row {number} is never closed, so that all that follows would be "
            "read as one cell. Close it, or take it out.",
            "chosen",
        )


def _too_large(row: int, columns: int) -> Refused:
    if columns > MOST_COLUMNS:
        return too_wide(columns)
    if row > MOST_ROWS:
        return too_many_rows()
    return Refused(
        "too_many_cells",
        f"This table has more than {MOST_CELLS:,} cells. Leave out columns, or divide it.",
        "chosen",
    )


def _broken(row: int, error: csv.Error) -> Refused:
    """`row` is the one that could not be read to its end."""
    if "field larger" in str(error):
        return Refused(
            "long_cell",
            f"A cell in row {row} holds more than {csv.field_size_limit():,} characters: look for "
            "a quotation mark that is not closed.",
            "chosen",
        )
    return Refused(
        "broken_text",
        f"Row {row} cannot be parted into columns: look for a quotation mark that is not closed.",
        "chosen",
    )
