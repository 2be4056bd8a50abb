"""Dates of a site and months of a calendar. `now()` is read at the edges only."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

from itm.core.errors import Refused
from itm.core.figures import instant

# Zones of the world, whose signs are turned round in their names: what has begun anywhere has begun
# in the first, and what is over everywhere is over in the last.
FIRST_TO_BEGIN = "Etc/GMT-14"
LAST_TO_BEGIN = "Etc/GMT+12"
# Moments that something here was done at. Own choice: a device that lost its clock begins anew at
# 1970 or 1980, and papers older than this come in as past results, which have days and no moments.
FIRST_MOMENT = datetime(1990, 1, 1, tzinfo=UTC)
# So far a device may be ahead and its stamps still be kept as they are: own choice, for a clock set
# to another zone or to the wrong half of the day.
AHEAD = timedelta(days=1)
# Days of a register: no fixed foam system is older, and no date of expiry later. Own choice; what
# lies beyond is a slip of a digit, and near the ends of the calendar no zone can be reckoned.
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2999, 12, 31)


def add_months(day: date, months: int) -> date:
    """Calendar months later; the end of a short month clamps (31 January + 1 = 28 or 29 February).

    Source: the project's choice, as check value I-04; recurrence rules of RFC 5545 skip instead.
    """
    return day + relativedelta(months=months)


def date_at(zone: str, instant: datetime) -> date:
    """The calendar date that a clock in this zone shows at the instant."""
    return instant.astimezone(ZoneInfo(zone)).date()


def require_believable(at: datetime, *, now: datetime, place: str) -> None:
    """A moment that a device stamped or a program wrote, beside the server's clock.

    Raises Refused out_of_calendar, to_come.
    """
    if at < FIRST_MOMENT:
        raise Refused(
            "out_of_calendar",
            f"{at.isoformat()} is before {instant(FIRST_MOMENT)}, so the clock that stamped "
            f"it was wrong: by that of the server it is {instant(now)}. Say when it "
            "was.",
            place,
        )
    if at > now + AHEAD:
        raise Refused(
            "to_come",
            f"{at.isoformat()} is still to come: by the clock of the server it is "
            f"{instant(now)}. Set the clock of the device right, and say when it was.",
            place,
        )
