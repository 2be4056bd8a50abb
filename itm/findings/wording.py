"""Hours and clocks in words, the same on every list."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from itm.core.figures import day, thin
from itm.findings.clocks import Running
from itm.findings.models import Deficiency, NoticeClock, Step

COUNTED = timedelta(days=3)  # our own choice
MINUTE = timedelta(minutes=1)


def named(row: Deficiency) -> str:
    """In a line that names no quantity but percent, because it is read in no units of anybody's.
    What a person or a programme wrote stays as it is."""
    if row.cause == Deficiency.Cause.SUPPLY:
        said = f"Concentrate lasts too short at {row.spot}{_again(row)}"
    elif row.inspection_line is not None:
        said = f"Found out of order: {row.inspection_line.words}{_again(row)}"
    else:
        said = row.said
    return " ".join(said.split())


def _again(row: Deficiency) -> str:
    return f"; again on {day(row.again_on)}" if row.again_on else ""


def whole_hours(lasted: timedelta) -> str:
    hours = int(lasted.total_seconds() // 3600)
    return "1 hour" if hours == 1 else f"{thin(hours)} hours"


def lasting(lasted: timedelta) -> str:
    """In hours while somebody counts them, before the first in minutes, from the third day on in
    days."""
    if lasted < timedelta(hours=1):
        minutes = int(lasted.total_seconds() // 60)
        return "1 minute" if minutes == 1 else f"{minutes} minutes"
    return whole_hours(lasted) if lasted < COUNTED else f"{thin(lasted.days)} days"


def since(started_at: datetime, now: datetime) -> str:
    return lasting(now - started_at)


def unanswered(clock: NoticeClock) -> str:
    arranged = clock.asks == NoticeClock.Asks.ARRANGED
    return "nothing is noted as arranged" if arranged else "nobody is noted as told"


def clock_words(one: Running, now: datetime) -> str:
    """“Commander, after 72 h: in 5 hours”; or that it ran out; or who was told, and how late; or
    what was arranged."""
    head = f"{one.clock.tell}, {one.clock.when}"
    if one.told is not None:
        arranged = one.told.verb == Step.Verb.ARRANGED
        done = f"{one.told.how.lower()}, {one.told.who}" if arranged else f"told, {one.told.who}"
        late = (one.told.happened_at or one.at) - one.at
        return f"{head}: {done}" + (f", {lasting(late)} late" if late >= MINUTE else "")
    if one.over:
        return f"{head}: ran out {whole_hours(now - one.at)} ago, {unanswered(one.clock)}"
    return f"{head}: in {whole_hours(one.at - now)}"


def clocks_in_words(running: Iterable[Running], now: datetime) -> list[str]:
    return [clock_words(one, now) for one in running]
