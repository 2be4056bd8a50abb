"""Dates of a site and months of a calendar. `now()` is read at the edges only."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

# Zones of the world, whose signs are turned round in their names: what has begun anywhere has begun
# in the first, and what is over everywhere is over in the last.
FIRST_TO_BEGIN = "Etc/GMT-14"
LAST_TO_BEGIN = "Etc/GMT+12"


def add_months(day: date, months: int) -> date:
    """Calendar months later; the end of a short month clamps (31 January + 1 = 28 or 29 February).

    Source: the project's choice, as check value I-04; recurrence rules of RFC 5545 skip instead.
    """
    return day + relativedelta(months=months)


def date_at(zone: str, instant: datetime) -> date:
    """The calendar date that a clock in this zone shows at the instant."""
    return instant.astimezone(ZoneInfo(zone)).date()
