"""What the history and the calendar tell of an order: also that its day is over and nobody says
that it is met, which is no line of history."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from itm.core.clock import date_at
from itm.core.figures import day
from itm.core.history import Change
from itm.findings.models import Order
from itm.notices.found import Found
from itm.notices.models import News

K = News.Kind
KINDS = {
    "created": K.ORDERED, "seen": K.ORDER_SEEN, "met": K.ORDER_MET, "withdrawn": K.ORDER_WITHDRAWN,
}  # fmt: skip
ZONES = timedelta(days=2)  # the day of a site is at most one off that of the server


def of_order(change: Change) -> list[News.Kind]:
    return [KINDS[change.verb]] if change.verb in KINDS else []


def late(since: datetime, now: datetime) -> Iterator[tuple[Found, str, date]]:
    """Each once, on the day of its site after its last; with what names its line."""
    rows = Order.objects.filter(
        Order.OPEN, due_on__gte=(since - ZONES).date(), due_on__lt=(now + ZONES).date()
    )
    for row in rows.select_related("site").order_by("due_on", "pk"):
        if row.due_on < date_at(row.site.time_zone, now):
            yield Found(row.key, row.site_id, row.organisation_id), f"late {row.key}", row.due_on


def detail(row: News, made: Order) -> str:
    said = f"{made.organisation.name}, by {day(made.due_on)}: {made.words[:200]}"
    return f"{row.note}. {said}" if row.kind == K.ORDER_WITHDRAWN and row.note else said
