"""Tables as a workbook: numbers stay numbers, and no text is run as a formula or made a link."""

import io
from collections.abc import Iterable, Sequence

import xlsxwriter

SAFE = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
WIDE = 40  # characters, own choice: longer cells are read by their own line


def workbook(
    title: str, head: Sequence[str], rows: Iterable[Sequence[str | int | float | None]]
) -> bytes:
    """One sheet (ISO/IEC 29500) with its head fixed, filters in it, and columns as wide as their
    words."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, SAFE) as book:
        sheet = book.add_worksheet(title[:31])
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        sheet.freeze_panes(1, 0)
        widths = [len(name) for name in head]
        sheet.write_row(0, 0, head, bold)
        last = 0
        for last, row in enumerate(rows, 1):
            for column, value in enumerate(row):
                if isinstance(value, str):
                    sheet.write_string(last, column, value)
                elif value is not None:
                    sheet.write_number(last, column, value)
                widths[column] = max(widths[column], len(str(value or "")))
        for column, width in enumerate(widths):
            sheet.set_column(column, column, min(width + 2, WIDE))
        sheet.autofilter(0, 0, last, len(head) - 1)
    return out.getvalue()
