"""A table to take along: the same rows as text and as a workbook."""

from collections.abc import Callable, Iterable, Sequence

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import URLPattern, path

from itm.core.csv_text import csv_text
from itm.core.sheet import workbook

CSV = "text/csv; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORMATS = ("csv", "xlsx")
Rows = Iterable[Sequence[str | int | float | None]]


def table_paths(route: str, view: Callable[..., HttpResponseBase], name: str) -> list[URLPattern]:
    """Addresses of one table in each format: `route` and `name` without their endings."""
    return [
        path(f"{route}.{form}", view, {"form": form}, name=f"{name}_{form}") for form in FORMATS
    ]


def table_answer(name: str, form: str, head: Sequence[str], rows: Rows) -> HttpResponse:
    """`name` without its ending; `form` is one of FORMATS."""
    if form == "csv":
        answer = HttpResponse(csv_text(head, rows), content_type=CSV)
    else:
        answer = HttpResponse(workbook(name, head, rows), content_type=XLSX)
    answer["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    return answer
