"""Stored reports against what is noted of them. A report is only a picture of its sealed record;
who holds a changed one should hear of it all the same."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.core.files.storage import default_storage
from django.db.models import Count, QuerySet, Sum

from itm.core.noted import unlike
from itm.records.chain import Finding
from itm.reports.models import Report
from itm.retention.verifying import Seen, digest_of

AT_A_TIME = 200


def verify_reports(
    *, since: datetime | None = None, seen: Seen = lambda size: None
) -> Iterator[Finding]:
    """`lost`: the store has no such file. `altered`: its bytes are not those whose digest is noted,
    or the digest is not the one that the history says was noted.

    With `since` only what was first made at that instant or later. `seen` is called after each with
    its size.
    """
    rows = _made(since).select_related("test__site", "concentrate_check__site").order_by("pk")
    some: list[Report] = []
    for row in rows.iterator(chunk_size=AT_A_TIME):
        some.append(row)
        if len(some) == AT_A_TIME:
            yield from _verify(some, seen)
            some = []
    yield from _verify(some, seen)


def unsealed_reports() -> Iterator[Finding]:
    """A report is made of a sealed record alone, so it tells of a seal that is gone."""
    rows = Report.objects.filter(test__seal=None, concentrate_check__seal=None)
    for row in rows.select_related("test__site", "concentrate_check__site").order_by("pk"):
        yield Finding(
            "broken", _place(row), "A report was made of this record, and it has no seal."
        )


def how_many_reports(*, since: datetime | None = None) -> tuple[int, int]:
    """How many `verify_reports` looks at, and their bytes by what is noted of them."""
    found = _made(since).aggregate(count=Count("pk"), size=Sum("size", default=0))
    return found["count"], found["size"]


def _made(since: datetime | None) -> QuerySet[Report]:
    rows: QuerySet[Report] = Report.objects.all()
    return rows if since is None else rows.filter(made_at__gte=since)


def _verify(some: list[Any], seen: Seen) -> Iterator[Finding]:
    for row in some:
        if not default_storage.exists(row.file.name):
            yield Finding("lost", _place(row), "The store has lost it; asked for, it is made anew.")
        elif digest_of(row.file.name) != row.sha256:
            yield Finding("altered", _place(row), "The stored bytes are not those that were noted.")
        seen(row.size)
    for held, name in unlike(some):
        what = f"{name} is not what its history says" if name else "The history has no line of it"
        yield Finding("altered", _place(held), f"{what}.")


def _place(row: Any) -> str:
    return f"{row.record.site}, report of {row.record}"
