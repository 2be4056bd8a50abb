"""Orders of an authority by their day: lines of what comes next, of the mail and the calendar."""

from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Case, F, IntegerField, Q, QuerySet, Value, When

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.figures import day
from itm.findings.models import Order
from itm.findings.queries import all_orders
from itm.schedule.queries import at_sites
from itm.trends.thing import Thing

LATE, COMES = 2, 5  # as a critical deficiency, and as what is due; own choice


def open_orders(actor: Actor, sites: list[int] | None) -> QuerySet[Any]:
    """The oldest day first; late is what a day passed of, as the actor's day shows it."""
    rows = at_sites(Order.objects.visible_to(actor), sites).filter(Order.OPEN)
    place = Case(
        When(due_on__lt=actor.today, then=Value(LATE)), default=Value(COMES),
        output_field=IntegerField(),
    )  # fmt: skip
    return rows.annotate(
        kind=Value("order"), place=place, day=F("due_on"), row=F("pk")
    ).order_by("due_on", "pk")  # fmt: skip


def to_meet(row: Order, now: datetime) -> Thing:
    return Thing(
        kind="order",
        what=f"Order of {row.organisation.name}: {' '.join(row.words.split())[:200]}",
        site=row.site.name,
        where=row.deficiency.said if row.deficiency else "the site",
        how_long=how_long(row, now),
        who=row.site.owner.name,
        page="order",
        key=row.key,
        detail="seen by the owner" if row.seen_at else "not seen by the owner yet",
    )


def how_long(row: Order, now: datetime) -> str:
    """On the clock of the site."""
    late = (date_at(row.site.time_zone, now) - row.due_on).days
    if late > 0:
        return f"{late} day{'s'[: late != 1]} late, was to be met by {day(row.due_on)}"
    return f"to be met by {day(row.due_on)}"


def told_lately(
    actor: Actor, now: datetime, *, ahead: timedelta, behind: timedelta
) -> QuerySet[Order]:
    """Open ones, and those that ended a while ago, which a calendar still may show."""
    today: date = now.date()
    lately = Order.OPEN | Q(due_on__gte=today - behind)
    rows = all_orders(actor).filter(lately, due_on__lte=today + ahead)
    return rows.order_by("due_on", "pk")
