"""The contractor's home: what lies on the own desk, and where the next visit is needed."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, F, Min, OuterRef, Q, QuerySet, Subquery

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.figures import day
from itm.findings.queries import all_deficiencies
from itm.findings.wording import since
from itm.records.models import Move, ProportioningTest, RestorationLine, Visit
from itm.records.progress import next_step
from itm.registry.models import Grant
from itm.schedule import calibrations
from itm.schedule.models import Requirement
from itm.schedule.queries import open_duties
from itm.trends.impairments import impairments
from itm.trends.latest import State
from itm.trends.stretch import Stretch, page_number, stretch
from itm.trends.unsigned import WAITS

# How many of each are listed; the page of all visits has the rest.
MOST = 30
PROGRESS = ("runs__bottles__readings", "flush_steps", "visit__restoration_lines")


@dataclass(frozen=True)
class Draft:
    """A record on its way, at the step where the crew stands; empty before the test day."""

    test: ProportioningTest
    step: str
    sent_back_on: str = ""
    sent_back_by: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Few:
    """The first rows of a list that is shown whole elsewhere."""

    rows: list[Any]
    more: bool


@dataclass(frozen=True)
class SiteDue:
    """How much is due at one site where the contractor is engaged."""

    key: UUID
    name: str
    owner: str
    overdue: int
    due: int
    opened: int
    checks: int
    latest_on: str
    planned_on: str


def few(rows: QuerySet[Any]) -> Few:
    found = list(rows[: MOST + 1])
    return Few(found[:MOST], len(found) > MOST)


def given_to_us(actor: Actor) -> Few:
    """Open deficiencies that an owner gave the organisation to put right, the next day first. Of a
    site where its time is over none is seen any more, and none is left to do there."""
    rows = all_deficiencies(actor).filter(assigned=actor.organisation_id, closed_at=None)
    return few(rows.order_by(F("target_on").asc(nulls_last=True), "severity", "opened_at", "pk"))


def own_visits(actor: Actor) -> QuerySet[Visit]:
    rows = Visit.objects.visible_to(actor).filter(contractor=actor.organisation_id)
    return rows.select_related("site__owner")


def running_visits(actor: Actor, now: datetime) -> Few:
    """Started and not restored: these systems are out of service, for as long as `out_for` says."""
    rows = own_visits(actor).filter(impairment__in=impairments(actor))
    out = RestorationLine.objects.filter(visit=OuterRef("pk"), outcome="")
    found = few(rows.annotate(still_open=Exists(out)).order_by("started_at", "pk"))
    for row in found.rows:
        row.out_for = since(row.started_at, now)
    return found


def planned_visits(actor: Actor) -> Few:
    """Not started yet, the next first; one whose day has passed stays until it is started."""
    rows = (
        own_visits(actor).filter(started_at=None).exclude(tests__state__in=["handed_in", "sealed"])
    )
    return few(rows.annotate(prepared=Count("tests")).order_by("planned_on", "pk"))


def unsigned(actor: Actor, now: datetime) -> Few:
    """Handed in by the own crew and not sealed yet, the oldest first; `waits_long` once owner and
    authority are told that it waits."""
    rows = own_tests(actor).filter(state=State.HANDED_IN)
    found = few(rows.order_by("handed_in_at", "pk"))
    for row in found.rows:
        row.waits_long = row.handed_in_at <= now - WAITS
    return found


def calibrations_due(actor: Actor, now: datetime) -> Few:
    """Of the own instruments, those that ran out first; each certificate with its `stands`."""
    found = few(calibrations.to_do(actor, now))
    for row in found.rows:
        row.stands = calibrations.standing_of(row, now)
    return found


def never_calibrated(actor: Actor, now: datetime) -> Few:
    """Own instruments without a certificate in force."""
    return few(calibrations.not_on_record(actor, now))


def own_tests(actor: Actor) -> QuerySet[ProportioningTest]:
    rows = ProportioningTest.objects.visible_to(actor)
    rows = rows.filter(visit__contractor=actor.organisation_id)
    return rows.select_related("site", "visit", "proportioner__system")


def drafts(actor: Actor) -> tuple[list[Draft], list[Draft], bool]:
    """Sent back, the rest, and whether there are more than fit."""
    last = Move.objects.filter(test=OuterRef("pk"), verb__in=["hand_in", "send_back"])
    last = last.order_by("-pk")
    rows = own_tests(actor).filter(state=State.DRAFT).annotate(
        last=Subquery(last.values("verb")[:1]),
        moved_at=Subquery(last.values("at")[:1]),
        moved_by=Subquery(last.values("person")[:1]),
        why=Subquery(last.values("reason")[:1]),
    )  # fmt: skip
    # What somebody waits for comes first (sent back before the rest), then by day.
    rows = rows.prefetch_related(*PROGRESS)
    found = few(rows.order_by(F("last").desc(nulls_last=True), "tested_on", "pk"))
    made = [draft_of(row) for row in found.rows]
    return (
        [draft for draft in made if draft.sent_back_on],
        [draft for draft in made if not draft.sent_back_on],
        found.more,
    )


def draft_of(row: Any) -> Draft:
    step = next_step(row) if row.visit.started_at is not None else ""
    if row.last != "send_back":
        return Draft(row, step)
    moved_on = day(date_at(row.site.time_zone, row.moved_at))
    return Draft(row, step, moved_on, row.moved_by, row.why)


def sites_due(actor: Actor, page: str | int = 1) -> Stretch[SiteDue]:
    """Sites where the contractor is engaged today and something can be done, worst first; the
    first of them where the list ends before the page."""
    engaged = Grant.objects.today(actor).filter(organisation=actor.organisation_id)
    rows = open_duties(actor).filter(
        site__in=engaged.values("site"), stands__in=["overdue", "due", "open"]
    )
    test = Q(requirement__task=Requirement.Task.PROPORTIONING_TEST)
    visits = Visit.objects.filter(
        site=OuterRef("site"), contractor=actor.organisation_id, started_at=None
    ).order_by("planned_on")
    by_site = (
        rows.values("site")
        .order_by()
        .annotate(
            key=F("site__key"),
            name=F("site__name"),
            owner=F("site__owner__name"),
            overdue=Count("pk", filter=test & Q(stands="overdue")),
            due=Count("pk", filter=test & Q(stands="due")),
            opened=Count("pk", filter=test & Q(stands="open")),
            checks=Count("pk", filter=~test),
            first=Min("latest_on", filter=test),
            planned=Subquery(visits.values("planned_on")[:1]),
        )
        .order_by("-overdue", "-due", "-opened", "first", "site")
    )
    found = stretch(by_site, page_number(page))
    if found.has_previous and not found.object_list:
        return sites_due(actor)
    return replace(found, object_list=[site_due(row) for row in found.object_list])


def site_due(row: dict[str, Any]) -> SiteDue:
    same = ("key", "name", "owner", "overdue", "due", "opened", "checks")
    return SiteDue(
        latest_on=day(row["first"]),
        planned_on=day(row["planned"]),
        **{name: row[name] for name in same},
    )
