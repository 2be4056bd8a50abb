"""One way to show a list: find by name, sort by a column, turn the page; all of it in the address.

Cells are written in Python, row by row: a template filter a cell costs more than the query.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from itm.registry.queries import Wanted

PAGE_ROWS = 25
EVERYTHING = (
    ("Sites", "sites"),
    ("Foam systems", "systems"),
    ("Proportioners", "proportioners"),
    ("Tanks", "tanks"),
    ("Lots", "lots"),
)
SHOWN = (("in_use", "in use"), ("retired", "retired"), ("all", "all"))


class Column(NamedTuple):
    """`sort` is the name that the query knows; empty when the list is not sorted by it."""

    label: str
    sort: str = ""
    number: bool = False


class Cell(NamedTuple):
    text: str
    url: str = ""
    number: bool = False


class Step(NamedTuple):
    """The next thing to do from here."""

    label: str
    url: str


@dataclass(frozen=True)
class List:
    """What one list page is made of."""

    title: str
    lead: str
    columns: Sequence[Column]
    cells: Callable[[Any], Sequence[Cell]]
    empty: str
    step: Step | None = None
    retirable: bool = True
    beside: Sequence[Step] = ()


def beside(name: str) -> list[Step]:
    """The other lists over all sites, for those who look for a thing and not for a place."""
    return [Step(label, reverse(other)) for label, other in EVERYTHING if other != name]


def wanted(request: HttpRequest) -> Wanted:
    shown = request.GET.get("shown", "")
    return Wanted(
        find=request.GET.get("find", "").strip()[:80],
        sort=request.GET.get("sort", ""),
        shown=shown if shown in dict(SHOWN) else "in_use",
    )


def show(request: HttpRequest, listed: List, rows: Any, asked: Wanted) -> HttpResponse:
    page = Paginator(rows, PAGE_ROWS).get_page(request.GET.get("page"))
    heads = [_head(column, asked.sort) for column in listed.columns]
    lines = [
        [(column.label, cell) for column, cell in zip(listed.columns, cells, strict=True)]
        for cells in map(listed.cells, page.object_list)
    ]
    context = {
        "list": listed,
        "heads": heads,
        "lines": lines,
        "page": page,
        "asked": asked,
        "narrowed": bool(asked.find) or asked.shown != "in_use",
        "choices": SHOWN,
        "crumbs": [],
    }
    return render(request, "registry/list.html", context)


def _head(column: Column, sort: str) -> dict[str, Any]:
    """The head of a column: where a click leads, and which way it is sorted now."""
    up, down = sort == column.sort != "", sort == f"-{column.sort}" != "-"
    return {
        "label": column.label,
        "number": column.number,
        "sort": f"-{column.sort}" if up else column.sort,
        "sorted": "ascending" if up else "descending" if down else "",
    }
