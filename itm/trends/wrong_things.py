"""What is out of service and what is wrong, as lines of the list of next things."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import (
    Case,
    CharField,
    F,
    IntegerField,
    Q,
    QuerySet,
    Value,
    When,
)  # fmt: skip

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.findings.clocks import Running
from itm.findings.models import Deficiency
from itm.findings.queries import days_open, where
from itm.findings.wording import clocks_in_words, since
from itm.records.models import ProportioningTest
from itm.schedule.queries import at_sites
from itm.trends.thing import Thing
from itm.trends.wrong_systems import told_by_result

BY_SEVERITY = {1: 1, 2: 2, 3: 5}  # an impairment beside what is lean, a noncritical one late
State = ProportioningTest.State


def open_deficiencies(actor: Actor, sites: list[int] | None) -> QuerySet[Any]:
    """Open ones that no other line tells: a lean or rich result has its own while it is the latest
    or waits for its signature, and what was left out of service stands with its impairment."""
    rows = at_sites(Deficiency.objects.visible_to(actor), sites).filter(closed_at=None)
    told = told_by_result() | Q(cause__in=["lean", "rich"], test__state=State.HANDED_IN)
    still_out = Q(cause="left_out", restoration_line__followed_by=None)
    rows = rows.exclude(told).exclude(still_out)
    places = Case(
        *(When(severity=grade, then=Value(place)) for grade, place in BY_SEVERITY.items()),
        output_field=IntegerField(),
    )
    return rows.annotate(
        kind=Value("deficiency", output_field=CharField()), place=places, day=F("found_on"),
        row=F("pk"),
    )  # fmt: skip


def not_restored(row: Any, now: datetime, running: Sequence[Running]) -> Thing:
    left = row.left
    what = "Out of service"
    if row.visit:
        what = f"{what}: left so after the test" if left else f"{what} for a test"
    detail = "; ".join(f"{line.text} ({line.reason})" for line in left)
    return Thing(
        kind="impairment",
        what=what,
        site=row.site.name,
        where=", ".join(str(one.system) for one in row.out) or "systems not named yet",
        how_long=since(row.started_at, now),
        who=row.coordinated_by or row.organisation.name,
        page="impairment",
        key=row.key,
        detail="; ".join(
            filter(None, (detail or ("" if row.visit else row.why), *clocks_in_words(running, now)))
        ),
    )


def to_put_right(row: Deficiency, actor: Actor) -> Thing:
    days = days_open(row, actor.today)
    grade = row.classed
    said = [grade, f"to be put right by {day(row.target_on)}" if row.target_on else ""]
    return Thing(
        kind="deficiency",
        what=row.said,
        site=row.site.name,
        where=where(row),
        how_long=f"open for {days} day{'s'[: days != 1]}",
        who=", ".join(filter(None, (row.responsible, str(row.assigned or "")))),
        page="deficiency",
        key=row.key,
        detail="; ".join(filter(None, said)),
    )
