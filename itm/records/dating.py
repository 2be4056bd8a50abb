"""Which day a record can be of: never one to come, nor a start far from plan and arrival."""

from datetime import date, datetime, timedelta

from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.core.figures import day, instant
from itm.records.models import ProportioningTest, Record, Visit

# A start that is further than this from the planned day and from its arrival is a wrong clock or a
# wrong plan: own choice, for a day that was put off and a phone that stayed without signal.
NEAR = timedelta(days=31)


def require_start(visit: Visit, at: datetime, now: datetime) -> None:
    """The record is dated by its start and moves the yearly duty, so the stamp of a device alone
    puts it into no other year. `now` is the server's clock.

    Raises Refused to_come, far_from_plan.
    """
    zone = visit.site.time_zone
    on, today = date_at(zone, at), date_at(zone, now)
    if on > today:
        raise Refused(
            "to_come",
            f"A test day cannot start on a day to come: the first valve was moved at "
            f"{instant(at, zone)} by the clock that stamped it, and at the site it is "
            f"{instant(now, zone)}. Set that clock right, and say when it was.",
            "started_at",
        )
    if abs(on - visit.planned_on) > NEAR and today - on > NEAR:
        raise Refused(
            "far_from_plan",
            f"{instant(at, zone)} is far from the planned day of this visit, "
            f"{day(visit.planned_on)}, and from today, {day(today)}: the clock that stamped it was "
            "wrong, or the plan is. Say when it was; if it was that day, change the planned day of "
            "the visit to it first.",
            "started_at",
        )


def day_of(record: Record) -> date:
    """The day that a record is of, and that its duty is closed on."""
    return record.tested_on if isinstance(record, ProportioningTest) else record.checked_on


def require_come(record: Record, at: datetime) -> None:
    """Before a hand-in and before a signature. Raises Refused to_come."""
    on, today = day_of(record), date_at(record.site.time_zone, at)
    if on > today:
        what = (
            "the start of the test day"
            if isinstance(record, ProportioningTest)
            else "the day of its bottles"
        )
        raise Refused(
            "to_come",
            f"This record is of {day(on)}, and at the site it is {day(today)}: nothing is recorded "
            f"of a day to come. Put {what} right first.",
        )
