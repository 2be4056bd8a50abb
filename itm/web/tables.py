"""A table to take along: the same rows as text and as a workbook."""

from collections.abc import Iterable, Sequence

from django.http import HttpResponse

from itm.core.csv_text import csv_text
from itm.core.sheet import workbook

CSV = "text/csv; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORMATS = ("csv", "xlsx")
Rows = Iterable[Sequence[str | int | float | None]]


def table_answer(name: str, form: str, head: Sequence[str], rows: Rows) -> HttpResponse:
    """`name` without its ending; `form` is one of FORMATS."""
    if form == "csv":
        answer = HttpResponse(csv_text(head, rows), content_type=CSV)
    else:
        answer = HttpResponse(workbook(name, head, rows), content_type=XLSX)
    answer["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    return answer
