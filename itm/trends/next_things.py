"""The owner's one list: what to do next over all sites, worst first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import (
    Case,
    CharField,
    DateField,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)  # fmt: skip
from django.db.models.functions import TruncDate

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.records.models import Move, ProportioningTest, Visit
from itm.registry.models import Grant
from itm.schedule.due import Standing
from itm.schedule.models import Duty, Requirement
from itm.schedule.queries import open_duties, standing_of
from itm.trends.impairments import hours_out, impairments, visits_with_what_is_out
from itm.trends.latest import LatestResult, State, latest_of, results_of

PAGE = 50
KINDS = {
    "impairment": "Out of service",
    "result": "Latest result not proven",
    "overdue": "Overdue",
    "due": "Due",
    "open": "Window open",
    "sent_back": "Sent back",
}
# Worst first, as printed on the page. Of the same standing the test comes before the check.
RANK = {"impairment": 0, "lean": 1, "rich": 2, "undecided": 3,
        "overdue": 4, "due": 6, "open": 8, "sent_back": 10}  # fmt: skip
Row = tuple[str, int, Any, int]  # kind, rank, day, primary key


@dataclass(frozen=True)
class Thing:
    """One line: what, where, how long, who has it, and the page where it goes on."""

    kind: str
    what: str
    site: str
    where: str
    how_long: str
    who: str
    page: str
    key: UUID
    detail: str = ""
    standing: Standing | None = None
    limits: str = ""
    certainty: str = ""


def next_things(
    actor: Actor, now: datetime, *, site: str = "", kind: str = "", page: str | int = 1
) -> Page[Thing]:
    """A page of the list in a fixed number of queries, whatever the number of sites.

    `site` is part of a site's name; `kind` one of KINDS, anything else means all of them.
    """
    branches = branches_of(actor)
    chosen = [rows for name, rows in branches.items() if kind not in KINDS or name == kind]
    if site:
        chosen = [rows.filter(site__name__icontains=site) for rows in chosen]
    first, *others = [columns(rows) for rows in chosen]
    # The paginator's count needs no order, but its page does.
    listed = first.union(*others, all=True) if others else first
    found = Paginator(listed.order_by("rank", "day", "kind", "row"), PAGE).get_page(page)
    found.object_list = things(actor, list(found.object_list), now)
    return found


def columns(rows: QuerySet[Any]) -> QuerySet[Any]:
    return rows.order_by().values_list("kind", "rank", "day", "row")


def marked(rows: QuerySet[Any], kind: Any, rank: Any, when: Any) -> QuerySet[Any]:
    return rows.annotate(
        kind=kind if hasattr(kind, "resolve_expression") else text(kind),
        rank=rank if hasattr(rank, "resolve_expression") else number(rank),
        day=when,
        row=F("pk"),
    )


def text(value: str) -> Value:
    return Value(value, output_field=CharField())


def number(value: int) -> Value:
    return Value(value, output_field=IntegerField())


def branches_of(actor: Actor) -> dict[str, QuerySet[Any]]:
    duties = marked_duties(actor)
    return {
        "impairment": marked(
            impairments(actor), "impairment", RANK["impairment"], TruncDate("started_at")
        ),
        "result": marked_results(actor),
        "overdue": duties.filter(stands="overdue"),
        "due": duties.filter(stands="due"),
        "open": duties.filter(stands="open"),
        "sent_back": marked_sent_back(actor),
    }


def marked_results(actor: Actor) -> QuerySet[ProportioningTest]:
    """The latest record of a device when it does not prove it, and such a result that was handed
    in and still waits for its signature: the owner must not learn of it late."""
    waiting = Q(state=State.HANDED_IN)
    latest = Q(state=State.SEALED, pk=Subquery(latest_of("proportioner").values("pk")[:1]))
    rows = ProportioningTest.objects.visible_to(actor).filter(
        waiting | latest,
        ~Q(limits="in band") | Q(certainty="undecided"),
        proportioner__retired_on=None,
        proportioner__system__retired_on=None,
        site__retired_on=None,
    )
    kind = Case(
        When(limits="in band", then=text("undecided")), default=F("limits"),
        output_field=CharField(),
    )  # fmt: skip
    rank = Case(
        When(limits="lean", then=number(RANK["lean"])),
        When(limits="rich", then=number(RANK["rich"])),
        default=number(RANK["undecided"]),
        output_field=IntegerField(),
    )
    return marked(rows, kind, rank, F("tested_on"))


def marked_duties(actor: Actor) -> QuerySet[Any]:
    """Periodic duties; an open retest is told with the result that opened it."""
    rows = open_duties(actor).exclude(cause=Duty.Cause.RETEST)
    check = Q(requirement__task=Requirement.Task.CONCENTRATE_CHECK)
    whens = []
    for name in ("overdue", "due", "open"):
        whens.append(When(check, stands=name, then=number(RANK[name] + 1)))
        whens.append(When(stands=name, then=number(RANK[name])))
    when = Case(
        When(stands="open", then=F("due_on")), default=F("latest_on"), output_field=DateField()
    )
    rank = Case(*whens, default=number(RANK["sent_back"]), output_field=IntegerField())
    return marked(rows, F("stands"), rank, when)


def marked_sent_back(actor: Actor) -> QuerySet[ProportioningTest]:
    """Hand-ins that went back and were not handed in again. The draft itself stays its author's:
    the owner learns that it went back, when and why, through the visit."""
    last = Move.objects.filter(test=OuterRef("pk"), verb__in=["hand_in", "send_back"])
    last = last.order_by("-pk")
    rows = ProportioningTest.objects.filter(
        visit__in=Visit.objects.visible_to(actor), state=State.DRAFT
    )
    rows = rows.annotate(
        last=Subquery(last.values("verb")[:1]),
        sent_back_on=TruncDate(Subquery(last.values("at")[:1])),
    ).filter(last="send_back")
    return marked(rows, "sent_back", RANK["sent_back"], F("sent_back_on"))


# From rows to lines: one look at each table for the whole page ------------------------------------


def things(actor: Actor, rows: Sequence[Row], now: datetime) -> list[Thing]:
    by_kind: dict[str, set[int]] = {}
    for kind, _, _, pk in rows:
        by_kind.setdefault(source(kind), set()).add(pk)
    visits = visits_with_what_is_out(by_kind.get("visit", set()))
    tests = keyed(
        ProportioningTest.objects.select_related(
            "site", "visit__contractor", "proportioner__system"
        ),
        by_kind.get("test", set()),
    )
    duties = keyed(
        Duty.objects.select_related(
            "site",
            "requirement",
            "proportioner__system",
            "tank",
            "system",
            "equipment__site",
            "equipment__system",
            "equipment__tank",
        ),
        by_kind.get("duty", set()),
    )
    results = results_of(tests)
    retests = retests_of({test.proportioner_id for test in tests.values()}, now)
    reasons = reasons_of(by_kind.get("test", set()))
    engaged = contractors_at(actor, {row.site_id for row in [*tests.values(), *duties.values()]})
    out = []
    for kind, _, _, pk in rows:
        if kind == "impairment":
            out.append(not_restored(visits[pk], now))
        elif kind == "sent_back":
            out.append(sent_back(tests[pk], reasons.get(pk, ("", ""))))
        elif source(kind) == "test":
            latest = LatestResult(tests[pk], results.get(pk, ()))
            retest = retests.get(tests[pk].proportioner_id)
            out.append(not_proven(kind, latest, retest, engaged))
        else:
            out.append(to_do(duties[pk], standing_of(duties[pk], now), engaged))
    return out


def source(kind: str) -> str:
    if kind == "impairment":
        return "visit"
    return "duty" if kind in ("overdue", "due", "open") else "test"


def keyed(rows: QuerySet[Any], keys: set[int]) -> dict[int, Any]:
    return {row.pk: row for row in rows.filter(pk__in=keys)}


def retests_of(proportioners: set[int], now: datetime) -> dict[int | None, Standing]:
    rows = Duty.objects.filter(
        proportioner__in=proportioners, cause=Duty.Cause.RETEST, done_on=None, withdrawn_on=None
    )
    return {row.proportioner_id: standing_of(row, now) for row in rows.select_related("site")}


def reasons_of(tests: set[int]) -> dict[int, tuple[str, str]]:
    """(day, reason) of the last time each test was sent back."""
    rows = Move.objects.filter(test__in=tests, verb="send_back").order_by("pk")
    return {
        test: (day(at.date()), why) for test, at, why in rows.values_list("test", "at", "reason")
    }


def contractors_at(actor: Actor, sites: set[int]) -> dict[int, str]:
    """Names of the contractors engaged at each site today."""
    rows = Grant.objects.covering(actor.today).filter(site__in=sites)
    names: dict[int, list[str]] = {}
    for site, name in rows.order_by("organisation__name").values_list("site", "organisation__name"):
        if name not in names.setdefault(site, []):
            names[site].append(name)
    return {site: ", ".join(found) for site, found in names.items()}


def not_restored(visit: Visit, now: datetime) -> Thing:
    left = [line for line in visit.out if line.outcome == "left_out"]  # type: ignore[attr-defined]
    systems = sorted({line.proportioner.system.name for line in visit.out})  # type: ignore[attr-defined]
    detail = "; ".join(f"{line.text} ({line.reason})" for line in left)
    return Thing(
        kind="impairment",
        what="Out of service: left so after the test" if left else "Out of service for a test",
        site=visit.site.name,
        where=", ".join(systems) or "systems not named yet",
        how_long=hours_out(visit, now),
        who=visit.coordinator or visit.contractor.name,
        page="visit",
        key=visit.key,
        detail=detail,
    )


def not_proven(
    kind: str, latest: LatestResult, retest: Standing | None, engaged: dict[int, str]
) -> Thing:
    test = latest.test
    figures = ", ".join(f"{figure} % at {name}" for name, figure in latest.figures)
    waits = test.state == State.HANDED_IN
    how_long = f"tested {latest.tested_on}"
    if waits:
        how_long += ", not signed yet"
    elif retest is not None:
        how_long += f"; retest: {retest.words}"
    return Thing(
        kind=kind,
        what="Latest result",
        site=test.site.name,
        where=f"{test.proportioner.system.name}, {test.proportioner.tag}",
        how_long=how_long,
        who=test.visit.contractor.name if waits else engaged.get(test.site_id, ""),
        page="test",
        key=test.key,
        detail=figures,
        limits=test.limits,
        certainty=test.certainty,
    )


def to_do(duty: Duty, stands: Standing, engaged: dict[int, str]) -> Thing:
    place, page = duty_place(duty)
    return Thing(
        kind=stands.name,
        what=str(duty.requirement),
        site=duty.site.name,
        where=place,
        how_long=stands.words,
        who=engaged.get(duty.site_id, ""),
        page=page,
        key=duty.thing.key,
        detail=f"counted from {day(duty.counts_from)}, latest {day(duty.latest_on)}",
        standing=stands,
    )


def duty_place(duty: Duty) -> tuple[str, str]:
    """Where it is to be done, and the name of that thing's page."""
    if duty.proportioner is not None:
        return f"{duty.proportioner.system.name}, {duty.proportioner}", "proportioner"
    if duty.tank is not None:
        return f"tank {duty.tank}", "tank"
    if duty.equipment is not None:
        return f"{duty.equipment.stands_at}, {duty.equipment}", "equipment"
    return ("whole site", "site") if duty.system is None else (str(duty.system), "system")


def sent_back(test: ProportioningTest, told: tuple[str, str]) -> Thing:
    on, reason = told
    return Thing(
        kind="sent_back",
        what="Result sent back, not handed in again",
        site=test.site.name,
        where=f"{test.proportioner.system.name}, {test.proportioner.tag}",
        how_long=f"since {on}",
        who=test.visit.contractor.name,
        page="visit",
        key=test.visit.key,
        detail=reason,
    )
