"""Tables as text that a spreadsheet opens without running anything in it."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

# A cell that begins like this is a formula to a spreadsheet, the wide forms of the signs too.
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def csv_text(head: Sequence[str], rows: Iterable[Sequence[str | int | float | None]]) -> str:
    """The whole table at once; see `csv_lines`."""
    return "".join(csv_lines(head, rows))


def csv_lines(
    head: Sequence[str], rows: Iterable[Sequence[str | int | float | None]]
) -> Iterator[str]:
    """RFC 4180 with a byte order mark, by which spreadsheets know UTF-8, line by line.

    Numbers stand as numbers; text that a spreadsheet would take for a formula gets an apostrophe in
    front. Source: the sign list is common advice on formula injection, from memory.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")

    def text(cells: Sequence[str | int | float | None]) -> str:
        writer.writerow(cells)
        made = out.getvalue()
        out.seek(0)
        out.truncate()
        return made

    yield "\ufeff" + text(head)
    for row in rows:
        yield text([_cell(value) for value in row])


def _cell(value: str | int | float | None) -> str | int | float:
    if value is None:
        return ""
    if isinstance(value, str) and value.lstrip(" ").startswith(RISKY):
        return f"'{value}"
    return value
