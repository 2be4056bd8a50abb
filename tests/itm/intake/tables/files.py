"""Small files for tests: texts by their bytes, workbooks by another hand than the reader's."""

import io
import zipfile
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl

from itm.intake.tables.dialect import Settled, settle
from itm.intake.tables.file_kind import kind_of
from itm.intake.tables.head import find_head, match
from itm.intake.tables.layout import Layout, TableColumn
from itm.intake.tables.reading import Reader
from itm.intake.tables.source import find_source
from itm.intake.tables.survey import look_through

HUNDRED = Decimal(100)
TABLE = Layout(
    "history",
    "A table of tests",
    (
        TableColumn("tag", "name", "Tag", needed=True, aliases=("device",)),
        TableColumn("tested_on", "day", "Tested on", needed=True, aliases=("date",)),
        TableColumn("percent", "percent", "Percent", needed=True, most=HUNDRED),
        TableColumn("lower_limit", "percent", "Lower limit", aliases=("limits lower",)),
        TableColumn("upper_limit", "percent", "Upper limit", aliases=("limits upper",)),
        TableColumn("flow", "quantity", "Flow", units=("L/min", "US gpm")),
        TableColumn("index", "number", "Index", units=("nD",), most=Decimal(2)),
        TableColumn("note", "text", "Note"),
    ),
)


def text_file(folder: Path, text: str | bytes, encoding: str = "utf-8") -> Path:
    path = folder / "table.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def workbook(folder: Path, rows: Sequence[Sequence[Any]], *, merged: Sequence[str] = ()) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Results"
    for row in rows:
        sheet.append(list(row))
    for cells in merged:
        sheet.merge_cells(cells)
    path = folder / "table.xlsx"
    book.save(path)
    return path


def repacked(path: Path, change: dict[str, bytes]) -> Path:
    """The workbook with some of its parts put in place of its own."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            new.writestr(part.filename, change.pop(part.filename, old.read(part)))
        for name, data in change.items():
            new.writestr(name, data)
    path.write_bytes(out.getvalue())
    return path


class Looked:
    """Everything that is found in one file, step by step as the product does it."""

    def __init__(self, path: Path, layout: Layout = TABLE, known: Any = None, **answers: str):
        self.kind = kind_of(path, path.name)
        source, self.asked = find_source(path, self.kind, answers)
        assert source is not None, self.asked
        self.source = source
        self.head = find_head(source.first_rows(), layout)
        self.columns = match(self.head, layout)
        self.survey = look_through(source.blocks(), self.head, self.columns, layout)
        self.settled: Settled = settle(self.survey, self.head, self.columns, layout, answers)
        self.reader = Reader(
            layout, self.head, self.columns, self.settled.dialect, last=self.survey.last,
            known=known, width=source.width(self.head, self.columns),
        )  # fmt: skip
        self.rows = [
            batch.row(index)
            for batch in self.reader.batches(source.blocks())
            for index in range(len(batch.rows))
        ]

    def column(self, name: str) -> list[Any]:
        return [row[name] for row in self.rows]

    @property
    def problems(self) -> list[tuple[str, str]]:
        found = [*self.settled.problems, *self.reader.told.problems]
        return [(one.place, one.code) for one in found]

    @property
    def questions(self) -> dict[str, str]:
        return {one.code: one.found for one in self.settled.questions}

    def question(self, code: str) -> Any:
        return next(one for one in self.settled.questions if one.code == code)
