"""One way to show a list: find by name, sort by a column, turn the page; all of it in the address.

Cells are written in Python, row by row: a template filter a cell costs more than the query.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple
from urllib.parse import urlencode
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from itm.core.errors import NotFound
from itm.registry import queries
from itm.registry.finding import Wanted, looked_for
from itm.web.guard import actor_of

PAGE_ROWS = 25
EVERYTHING = (
    ("Sites", "sites"),
    ("Foam systems", "systems"),
    ("Proportioners", "proportioners"),
    ("Tanks", "tanks"),
    ("Equipment", "equipment_list"),
    ("Lots", "lots"),
    ("In store", "stores"),
    ("Records", "records"),
    ("Results of past years", "past_results"),
    ("Past concentrate checks", "past_checks"),
    ("Past inspections", "past_inspections"),
    ("Imports", "imports"),
    ("Files of reports", "batches"),
    ("Concentrate checks", "checks"),
    ("Concentrate samples", "bottles"),
    ("PFAS inventory", "pfas_inventory"),
    ("Deficiencies", "deficiencies"),
    ("Impairments", "impairments"),
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


class Narrow(NamedTuple):
    """A choice that narrows the list; `name` stands in the address and in the query."""

    name: str
    label: str
    choices: Sequence[tuple[str, str]]


class Within(NamedTuple):
    """One thing that the list is narrowed to by a link, and that can be left again."""

    name: str
    value: str
    text: str
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
    narrows: Sequence[Narrow] = ()
    within: Within | None = None


def beside(name: str) -> list[Step]:
    """The other lists over all sites, for those who look for a thing and not for a place."""
    return [Step(label, reverse(other)) for label, other in EVERYTHING if other != name]


def in_one_file(request: HttpRequest, kind: str) -> Step:
    """To the reports of the records that a list shows, narrowed as it is."""
    query = f"?{request.GET.urlencode()}" if request.GET else ""
    return Step("reports of these in one file", reverse("batch_new", args=[kind]) + query)


def wanted(
    request: HttpRequest, narrows: Sequence[Narrow] = (), within: Within | None = None
) -> Wanted:
    """What the address asks for; a value that nobody offered is passed over."""
    shown = request.GET.get("shown", "")
    chosen = {one.name: request.GET.get(one.name, "") for one in narrows}
    narrow = {
        one.name: chosen[one.name] for one in narrows if chosen[one.name] in dict(one.choices)
    }
    if within is not None:
        narrow[within.name] = within.value
    return Wanted(
        find=looked_for(request.GET.get("find", "")),
        sort=request.GET.get("sort", ""),
        shown=shown if shown in dict(SHOWN) else "in_use",
        narrow=narrow,
    )


def within_site(request: HttpRequest) -> tuple[Any, Within | None]:
    """The site that the address narrows to, if any. Raises NotFound for one not to be seen."""
    asked = request.GET.get("site", "")
    if not asked:
        return None, None
    try:
        key = UUID(asked)
    except ValueError as error:
        raise NotFound("site", asked) from error
    site = queries.site(actor_of(request), key)
    there = reverse("site", args=[site.key])
    return site, Within("site", str(site.key), site.name, there)


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
        "narrowed": _narrowed(asked, listed.within),
        "choices": SHOWN,
        "narrows": [(one, asked.narrow.get(one.name, "")) for one in listed.narrows],
        "everything": _everything(request, listed),
        "crumbs": [],
    }
    return render(request, "registry/list.html", context)


def _narrowed(asked: Wanted, within: Within | None) -> bool:
    """Whether the reader asked for less than the list holds; a link to one place is no such ask."""
    chosen = set(asked.narrow) - ({within.name} if within else set())
    return bool(asked.find or chosen) or asked.shown != "in_use"


def _everything(request: HttpRequest, listed: List) -> str:
    """The address of the list with nothing narrowed but the place that a link led to."""
    asks = {"shown": "all"} if listed.retirable else {}
    if listed.within is not None:
        asks[listed.within.name] = listed.within.value
    return f"{request.path}?{urlencode(asks)}" if asks else request.path


def _head(column: Column, sort: str) -> dict[str, Any]:
    """The head of a column: where a click leads, and which way it is sorted now."""
    up, down = sort == column.sort != "", sort == f"-{column.sort}" != "-"
    return {
        "label": column.label,
        "number": column.number,
        "sort": f"-{column.sort}" if up else column.sort,
        "sorted": "ascending" if up else "descending" if down else "",
    }
