"""What is wrong and what is out of service as a sheet lists it: how long, and who was told.

The same rows as the pages have, in a number of queries that does not grow with them.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Min, QuerySet

from itm.findings import clocks
from itm.findings.models import Deficiency, Impairment, Step
from itm.findings.wording import clocks_in_words
from itm.records.models import Notice


@dataclass(frozen=True)
class Told:
    """Somebody was told: who, when, and by which way or under which number."""

    who: str
    at: datetime
    how: str


@dataclass(frozen=True)
class Wrong:
    row: Any  # Deficiency, with what `findings.queries.all_deficiencies` adds
    told: tuple[Told, ...]


@dataclass(frozen=True)
class Out:
    """One time that systems are or were out, with the clocks that run on it in words."""

    row: Impairment
    told: tuple[Told, ...]
    clocks: tuple[str, ...]

    @property
    def systems(self) -> str:
        return ", ".join(str(one.system) for one in self.row.systems.all())


@dataclass(frozen=True)
class Totals:
    """Of everything that was asked for, also where a sheet names only the first of it."""

    count: int
    by_class: tuple[tuple[str, int], ...]  # of those that are open, the worst first
    oldest: date | None  # found on, of those that are open

    @property
    def open(self) -> int:
        return sum(count for _, count in self.by_class)


def totals(rows: QuerySet[Deficiency]) -> Totals:
    """Two queries."""
    # By key, so that what the list adds to its rows is no part of the counting.
    open_rows = Deficiency.objects.filter(pk__in=rows.order_by().values("pk"), closed_at=None)
    counted = open_rows.order_by().values("severity")
    found = {
        one["severity"]: (one["count"], one["oldest"])
        for one in counted.annotate(count=Count("pk"), oldest=Min("found_on"))
    }
    by_class = tuple(
        (str(label), found[value][0] if value in found else 0)
        for value, label in Deficiency.Severity.choices
    )
    oldest = min((when for _, when in found.values()), default=None)
    return Totals(rows.count(), by_class, oldest)


def wrong_lines(rows: Sequence[Any]) -> list[Wrong]:
    told = _told(Step.objects.filter(deficiency__in=[row.pk for row in rows]), "deficiency_id")
    return [Wrong(row, tuple(told.get(row.pk, ()))) for row in rows]


def out_lines(rows: Collection[Impairment], now: datetime) -> list[Out]:
    """With what their test days noted: people told before the first valve moved stand there."""
    told = _told(Step.objects.filter(impairment__in=[row.pk for row in rows]), "impairment_id")
    of_visits: dict[int, list[Told]] = {}
    visits = [row.visit_id for row in rows if row.visit_id is not None]
    for notice in Notice.objects.filter(visit__in=visits).order_by("told_at", "pk"):
        how = _how(notice.how, notice.reference)
        of_visits.setdefault(notice.visit_id, []).append(Told(notice.told, notice.told_at, how))
    running = clocks.running(rows, now) if rows else {}
    return [
        Out(
            row,
            (*of_visits.get(row.visit_id or 0, ()), *told.get(row.pk, ())),
            tuple(clocks_in_words(running.get(row.pk, []), now)),
        )
        for row in rows
    ]


def _told(steps: QuerySet[Step], of: str) -> dict[int, list[Told]]:
    out: dict[int, list[Told]] = {}
    for step in steps.filter(verb=Step.Verb.TOLD).order_by("happened_at", "pk"):
        at = step.happened_at or step.at
        out.setdefault(getattr(step, of), []).append(
            Told(step.who, at, _how(step.how, step.reference))
        )
    return out


def _how(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
