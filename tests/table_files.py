"""Reading back a table that a page gave away."""

import csv
import io
from typing import Any

import openpyxl


def read_csv(answer: Any) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def read_xlsx(answer: Any) -> list[dict[str, Any]]:
    sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).active
    assert sheet is not None
    head, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(map(str, head), row, strict=True)) for row in rows]
