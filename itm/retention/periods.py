"""From which day a thing may be let go. Pure: periods and days in, a day out.

Every period that holds counts, and the longest decides: a floor is never undercut by another rule.
What nobody set a period for is kept.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from itm.core.clock import add_months


@dataclass(frozen=True)
class Thing:
    """What is kept: of which kind, when it was done, when the next of its kind was done, and when
    what it belongs to was taken down. None where that has not come."""

    kind: str
    done_on: date
    next_on: date | None = None
    ended_on: date | None = None


@dataclass(frozen=True)
class Period:
    """So many years after a day: `done`, `next` or `life` (the end of what it belongs to)."""

    kinds: frozenset[str]
    years: int
    counts_from: str
    label: str


@dataclass(frozen=True)
class Freedom:
    """`day`: the first on which it may go; None while that is not known, and `why` says so."""

    day: date | None
    period: Period | None
    why: str = ""

    def by(self, today: date) -> bool:
        return self.day is not None and self.day <= today


WAITS = {
    "next": "kept until the next of its kind was done",
    "life": "kept as long as what it belongs to stands",
}
NO_PERIOD = Freedom(None, None, "no period is set for it here, so it is kept")


def first_free_day(period: Period, thing: Thing) -> date | None:
    """The day after the last one of the period; None while it has not begun to run."""
    began = {"done": thing.done_on, "next": thing.next_on, "life": thing.ended_on}[
        period.counts_from
    ]
    if began is None:
        return None
    return add_months(began, 12 * period.years) + timedelta(days=1)


def free_on(periods: Iterable[Period], thing: Thing) -> Freedom:
    """Of one thing, by the longest of the periods for its kind."""
    found = NO_PERIOD
    for period in periods:
        if thing.kind not in period.kinds:
            continue
        day = first_free_day(period, thing)
        if day is None:
            return Freedom(None, period, WAITS[period.counts_from])
        if found.day is None or day > found.day:
            found = Freedom(day, period)
    return found


def free_with(periods: Sequence[Period], things: Iterable[Thing]) -> Freedom:
    """Of a file that belongs to several things: not before the last of them."""
    latest: Freedom | None = None
    for thing in things:
        freedom = free_on(periods, thing)
        if freedom.day is None:
            return freedom
        if latest is None or latest.day is None or freedom.day > latest.day:
            latest = freedom
    return latest or NO_PERIOD
