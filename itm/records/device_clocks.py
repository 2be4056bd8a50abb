"""A device whose clock is wrong: its times stay as it stamped them, and the record says so."""

from datetime import datetime, timedelta

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.clock import FIRST_MOMENT
from itm.records.models import DeviceClock, Visit

# Own choice, no source: people and networks account for less, and no window of a test day is
# so narrow that it would matter.
WORTH_SAYING = timedelta(minutes=5)
SAME = timedelta(minutes=1)
# Refusals of a stamp that cannot be right: a person says when it was, or takes the server's word.
WRONG = ("to_come", "out_of_calendar", "far_from_plan", "before_start")


def ahead(*, device_now: datetime | None, stamped_at: datetime, at: datetime) -> timedelta:
    """How far the device is ahead of the server, negative when it is behind.

    By both clocks at the moment of sending; a stamp that is still to come shows a clock that was
    put right since. Without the device's time only such a stamp tells.
    """
    now = device_now - at if device_now is not None else timedelta(0)
    return max(now, stamped_at - at) if stamped_at > at else now


def words(off: timedelta) -> str:
    """What is said of a clock that is wrong, or nothing."""
    if abs(off) < WORTH_SAYING:
        return ""
    minutes = round(abs(off).total_seconds() / 60)
    return f"clock {minutes:,} min {'ahead' if off > timedelta(0) else 'slow'}"


def offered(*, device_now: datetime | None, stamped_at: datetime, at: datetime) -> datetime:
    """The moment by the server's clock of a stamp that cannot be right, for a person to take."""
    off = ahead(device_now=device_now, stamped_at=stamped_at, at=at)
    try:
        known = min(stamped_at - off, at)
    except OverflowError:  # of a clock at the end of the calendar
        return at
    return known if known > FIRST_MOMENT else at


@transaction.atomic
def note(*, actor: Actor, visit: Visit, off: timedelta, at: datetime) -> DeviceClock | None:
    """Keep that times of this visit come from such a clock, once for each clock and person.

    Returns nothing for a clock that is near enough. May run twice.
    """
    if abs(off) < WORTH_SAYING:
        return None
    seconds = int(off.total_seconds())
    near = int(SAME.total_seconds())
    known = visit.device_clocks.filter(
        person=actor.person, ahead_s__range=(seconds - near, seconds + near)
    )
    return known.first() or DeviceClock.objects.create(
        by=actor, visit=visit, person=actor.person, ahead_s=seconds, received_at=at
    )
