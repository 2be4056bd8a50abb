"""A day passes: the stored standing of the duties whose boundary it reached moves on.

Dates are computed in Python whenever a duty is written and only compared here. One statement for
each date that the world shows (two, for some hours three), and only rows that change are written.
May run twice, beside itself and after any number of days off: what a statement moved has its next
boundary ahead of it and is not found again.
"""

import logging
from collections.abc import Iterable
from datetime import date, datetime

from django.db import DatabaseError, transaction
from django.db.models import Case, DateField, F, Func, Q, QuerySet, Value, When

from itm.core.clock import date_at
from itm.registry.models import Site
from itm.schedule.models import TO_COME, Duty

log = logging.getLogger(__name__)


class DayAfter(Func):
    """The next day. Both databases agree on that; months are never reckoned in them."""

    template = "(%(expressions)s + 1)"
    output_field = DateField()

    def as_sqlite(self, compiler, connection, **context):
        return self.as_sql(
            compiler, connection, template="date(%(expressions)s, '+1 day')", **context
        )


def days_of(zones: Iterable[str], now: datetime) -> dict[date, list[str]]:
    """The zones by the date they show."""
    days: dict[date, list[str]] = {}
    for zone in sorted(set(zones)):
        days.setdefault(date_at(zone, now), []).append(zone)
    return days


def passed(now: datetime) -> list[tuple[date, QuerySet[Duty]]]:
    """For each date that a site shows, the duties there whose boundary it reached.

    The earliest date holds everywhere, so that only the later ones ask where a duty is. They ask
    by a sum, which no index answers: SQLite would otherwise go through the sites, all of them, and
    not through the few duties of the day.
    """
    zones = Site.objects.order_by().values_list("time_zone", flat=True).distinct()
    days = sorted(days_of(zones, now).items())
    out = []
    for place, (day, here) in enumerate(days):
        # The old value stands in the condition: of two sweeps the second finds nothing.
        rows = Duty._base_manager.filter(stands__in=TO_COME, stands_changes_on__lte=day)
        if place:
            sites = Site.objects.filter(time_zone__in=here).values("pk")
            rows = rows.filter(stands_changes_on__gt=days[0][0])
            rows = rows.alias(at=F("site_id") + 0).filter(at__in=sites)
        out.append((day, rows))
    return out


def behind(now: datetime) -> bool:
    """Whether a boundary was reached that no sweep has seen: one look at an index a date."""
    return any(rows.exists() for _, rows in passed(now))


def sweep(now: datetime) -> int:
    """Bring the stored standings up to the instant; how many moved."""
    return sum(move(rows, day) for day, rows in passed(now))


def catch_up(now: datetime) -> None:
    """For the edge, before it lists by standing: the clock has mostly been there, and then this is
    a look at an index. Where the database cannot be written, what is stored still stands."""
    try:
        if behind(now):
            sweep(now)
    except DatabaseError:
        log.exception("the standings could not be brought up to date")


@transaction.atomic
def move(rows: QuerySet[Duty], day: date) -> int:
    """Past the history, like every standing: it says nothing that the dates do not."""
    overdue, due, opened = (
        Q(latest_on__lt=day),
        Q(due_on__lte=day),
        Q(window_opens_on__lte=day),
    )
    return rows.update(
        stands=Case(
            When(overdue, then=Value("overdue")),
            When(due, then=Value("due")),
            When(opened, then=Value("open")),
            default=Value("ahead"),
        ),
        stands_changes_on=Case(
            When(overdue, then=Value(None, output_field=DateField())),
            When(due, then=DayAfter("latest_on")),
            When(opened, then=F("due_on")),
            default=F("window_opens_on"),
            output_field=DateField(),
        ),
    )
