"""How a list is narrowed, sorted and paged, and how one row is found or is not."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar
from uuid import UUID

from django.db.models import F, Model, Q, QuerySet

from itm.core.errors import NotFound

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class Wanted:
    """How a reader wants a list: part of a name, the order, whether retired rows are in it, and
    what else it is narrowed to.

    `sort` names a column, a minus turns it round; a name that the list does not have is ignored.
    """

    find: str = ""
    sort: str = ""
    shown: str = "in_use"  # in_use, retired or all
    narrow: Mapping[str, str] = field(default_factory=dict)


LONGEST, MOST_TERMS = 80, 6  # of what a reader looks for


def looked_for(text: str) -> str:
    """As a reader typed it, without what no database takes."""
    return text.replace("\0", "").strip()[:LONGEST]


def terms(text: str) -> list[str]:
    return looked_for(text).split()[:MOST_TERMS]


def matching(
    rows: QuerySet[M], text: str, find_in: Iterable[str], also: Callable[[str], Q] | None = None
) -> QuerySet[M]:
    """Rows in which every word stands in one of the columns, or fits as `also` says."""
    for term in terms(text):
        match = also(term) if also else Q()
        for column in find_in:
            match |= Q(**{f"{column}__icontains": term})
        rows = rows.filter(match)
    return rows


NOTHING: Mapping[str, str] = {}


def arranged(
    rows: QuerySet[M], wanted: Wanted, *, find_in: tuple[str, ...], sorts: Mapping[str, str],
    narrows: Mapping[str, str] = NOTHING, retirable: bool = True, start: str = "",
) -> QuerySet[M]:  # fmt: skip
    """Filtered and in a total order, so that pages never overlap.

    `start` is the order where none is asked for, else the first of `sorts`; `narrows` says on which
    column each narrowing of the list works.
    """
    for name, value in wanted.narrow.items():
        rows = rows.filter(**{narrows[name]: value})
    rows = matching(rows, wanted.find, find_in)
    if retirable and wanted.shown != "all":
        rows = rows.filter(retired_on__isnull=wanted.shown != "retired")
    name = next(iter(sorts.values()))
    asked = wanted.sort if wanted.sort.removeprefix("-") in sorts else start
    column = F(sorts.get(asked.removeprefix("-"), name))
    down = asked.startswith("-") and asked[1:] in sorts
    first = column.desc(nulls_last=True) if down else column.asc(nulls_last=True)
    return rows.order_by(first, name, "-pk" if down and not wanted.sort else "pk")


def one(rows: QuerySet[M], what: str, key: UUID) -> M:
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound(what, key)
    return row
