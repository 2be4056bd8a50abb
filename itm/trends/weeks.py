"""The next ninety days, week by week: what falls due, and the visits that are planned for it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import F, QuerySet

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.records.models import Visit
from itm.registry.models import Certificate
from itm.schedule import calibrations
from itm.schedule.models import Duty
from itm.schedule.queries import in_reach, open_duties
from itm.schedule.told import READ, told
from itm.trends.next_things import columns, contractors_at, keyed, marked
from itm.trends.stretch import Stretch, page_number, stretch

DAYS = 90
SHOWN = 6  # of each week; the week's own page has the rest
WEEK = timedelta(days=7)
CALIBRATION = "calibration"
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True)
class Line:
    """One thing on its day. `note` says what kind of day it is."""

    on: date
    what: str
    site: str
    where: str
    note: str
    who: str
    page: str
    key: UUID

    @property
    def weekday(self) -> str:
        return f"{WEEKDAYS[self.on.weekday()]}, {day(self.on)}"


@dataclass(frozen=True)
class Week:
    """From Monday to Sunday (ISO 8601). `more`: there is more than is shown."""

    monday: date
    lines: Sequence[Line]
    more: bool
    count: int = 1  # weeks, where several without anything are told as one

    @property
    def words(self) -> str:
        return f"{day(self.monday)} to {day(self.monday + self.count * WEEK - timedelta(days=1))}"


def folded(weeks: Sequence[Week]) -> list[Week]:
    """Weeks without anything that follow each other are one line."""
    out: list[Week] = []
    for week in weeks:
        if out and not out[-1].lines and not week.lines:
            out[-1] = replace(out[-1], count=out[-1].count + week.count)
        else:
            out.append(week)
    return out


def weeks(actor: Actor, now: datetime, *, site: str = "") -> list[Week]:
    """Every week of the ninety days with the first things in it, in a query a week."""
    first, last = bounds(now)
    monday = first - timedelta(days=first.weekday())
    rows_of = branches(actor, now, site)
    found = []
    while monday <= last:
        start, end = max(monday, first), min(monday + WEEK - timedelta(days=1), last)
        found.append((monday, list(between(rows_of, start, end, SHOWN + 1)[: SHOWN + 1])))
        monday += WEEK
    shown = [row for _, rows in found for row in rows[:SHOWN]]
    lines = dict(zip(map(place, shown), lines_of(actor, shown), strict=True))
    return [
        Week(monday, [lines[place(row)] for row in rows[:SHOWN]], len(rows) > SHOWN)
        for monday, rows in found
    ]


def one_week(
    actor: Actor, now: datetime, monday: date, *, site: str = "", page: str | int = 1
) -> Stretch[Line]:
    number = page_number(page)
    first, last = bounds(now)
    start, end = max(monday, first), min(monday + WEEK - timedelta(days=1), last)
    found = stretch(between(branches(actor, now, site), start, end, None), number)
    return Stretch(lines_of(actor, found.object_list), found.number, found.has_next)


def bounds(now: datetime) -> tuple[date, date]:
    """From the earliest day that it is anywhere, so that no site's today is left out."""
    today = (now - timedelta(hours=12)).date()
    return today, today + timedelta(days=DAYS)


def place(row: tuple[Any, ...]) -> tuple[str, int]:
    return row[0], row[3]


def branches(actor: Actor, now: datetime, site: str) -> dict[str, tuple[QuerySet[Any], str]]:
    """Rows and the column of their day: until it is due, the due day; from then on the last."""
    duties = in_reach(actor, open_duties(actor))
    visits = Visit.objects.visible_to(actor).filter(started_at=None, site__retired_on=None)
    if site:
        duties = duties.filter(site__name__icontains=site)
        visits = visits.filter(site__name__icontains=site)
    rows = {
        "due": (duties.filter(stands__in=("ahead", "open")), "due_on"),
        "last": (duties.filter(stands="due"), "latest_on"),
        "visit": (visits.exclude(tests__state__in=("handed_in", "sealed")), "planned_on"),
    }
    if actor.kind == "contractor" and not site:  # an instrument stands at none
        rows[CALIBRATION] = (calibrations.calibrations(actor, now), "due_on")
    return rows


def between(
    rows_of: dict[str, tuple[QuerySet[Any], str]], start: date, end: date, most: int | None
) -> QuerySet[Any]:
    out = []
    for rank, (kind, (rows, column)) in enumerate(rows_of.items()):
        rows = rows.filter(**{f"{column}__range": (start, end)})
        if most is not None:
            keys = rows.order_by(column, "pk").values("pk")[:most]
            rows = rows.model._default_manager.filter(pk__in=keys)
        out.append(columns(marked(rows.order_by(), kind, rank, F(column))))
    first, *others = out
    return first.union(*others, all=True).order_by("day", "place", "row")


def lines_of(actor: Actor, rows: Sequence[tuple[Any, ...]]) -> list[Line]:
    """One look at each table for the whole page."""
    of_kind = {
        kind: {pk for other, _, _, pk in rows if other == kind} for kind in {row[0] for row in rows}
    }
    none: set[int] = set()
    duties = keyed(
        Duty.objects.select_related(*READ), of_kind.get("due", none) | of_kind.get("last", none)
    )
    visits = keyed(Visit.objects.select_related("site", "contractor"), of_kind.get("visit", none))
    papers = keyed(Certificate.objects.select_related("instrument"), of_kind.get(CALIBRATION, none))
    engaged = contractors_at(actor, {duty.site_id for duty in duties.values()})
    out = []
    for kind, _, on, pk in rows:
        if kind == "visit":
            visit = visits[pk]
            out.append(
                Line(
                    on, "Visit", visit.site.name, "", "planned", visit.contractor.name,
                    "visit", visit.key,
                )
            )  # fmt: skip
            continue
        if kind == CALIBRATION:
            paper = papers[pk]
            out.append(
                Line(
                    on, "Calibration", "", str(paper.instrument), "the last day",
                    actor.organisation_name, "instrument", paper.instrument.key,
                )
            )  # fmt: skip
            continue
        duty = duties[pk]
        said = told(duty)
        note = "the last day" if kind == "last" else f"due; latest {day(duty.latest_on)}"
        out.append(
            Line(
                on, said.what, duty.site.name, said.where, note,
                engaged.get(duty.site_id, ""), said.page, said.key,
            )
        )  # fmt: skip
    return out
