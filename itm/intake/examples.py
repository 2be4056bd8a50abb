"""The example file of each kind: our own column names over invented rows."""

import io

import xlsxwriter

from itm.core.csv_text import csv_text
from itm.intake.tables.layout import Layout


def csv_example(layout: Layout) -> str:
    return csv_text(layout.names, layout.examples)


def xlsx_example(layout: Layout) -> bytes:
    """Every column as text, so that no spreadsheet takes zeros off a lot."""
    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(out, options) as book:
        sheet = book.add_worksheet(layout.title[:31])
        text, bold = book.add_format({"num_format": "@"}), book.add_format({"bold": True})
        sheet.set_column(0, len(layout.columns) - 1, 18, text)
        sheet.freeze_panes(1, 0)
        for at, column in enumerate(layout.columns):
            sheet.write_string(0, at, column.name, bold)
            if column.help:
                sheet.write_comment(0, at, column.help)
        for number, row in enumerate(layout.examples, 1):
            for at, cell in enumerate(row):
                sheet.write_string(number, at, cell, text)
    return out.getvalue()
