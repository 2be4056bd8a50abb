"""The owner's one list: what to do next over all sites, worst first."""

from collections.abc import Sequence, Set
from dataclasses import replace
from datetime import datetime
from typing import Any

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
from itm.findings import clocks
from itm.findings.models import Deficiency, Order
from itm.findings.queries import PLACE
from itm.records.models import ConcentrateCheck, LatestRecord, Move, ProportioningTest, Visit
from itm.registry.models import Certificate, Grant, Instrument
from itm.schedule import calibrations
from itm.schedule.due import Standing
from itm.schedule.models import Duty
from itm.schedule.queries import at_sites, few_sites, open_duties, standing_of
from itm.schedule.told import READ
from itm.trends.impairments import impairments, with_what_is_out
from itm.trends.latest import LatestResult, State, results_of
from itm.trends.orders_due import open_orders, to_meet
from itm.trends.stretch import PAGE, Stretch, page_number, stretch
from itm.trends.thing import (
    Thing,
    never_calibrated,
    not_proven,
    not_signed,
    sent_back,
    to_calibrate,
    to_do,
)
from itm.trends.unsigned import unsigned, unsigned_checks, unsigned_tests
from itm.trends.wrong_things import not_restored, open_deficiencies, to_put_right

MOST = 500  # counted of one standing; beyond it the number says nothing more
KINDS = {
    "impairment": "Out of service",
    "deficiency": "Deficiency",
    "order": "Order of an authority",
    "result": "Latest result not proven",
    "unsigned": "Handed in, not signed",
    "overdue": "Overdue",
    "due": "Due",
    "open": "Window open",
    "sent_back": "Sent back",
}
# Worst first, as printed on the page; of the same kind what has lasted or waits longest. Those of
# results are the ranks of `LatestRecord`.
RANK = {"impairment": 0, "lean": 1, "rich": 2, "undecided": 3,
        "unsigned": 4, "overdue": 4, "due": 5, "open": 6, "sent_back": 7}  # fmt: skip
CALIBRATION = "calibration "  # before the standing, in the kind of a row
UNSIGNED_CHECK = "unsigned check"  # the kind of such a row; the other is of a test
NOT_ON_RECORD = "not on record"  # the same of an instrument without a certificate
Row = tuple[str, int, Any, int]  # kind, rank, day, primary key


def next_things(
    actor: Actor, now: datetime, *, site: str = "", kind: str = "", page: str | int = 1,
    without: Set[str] = frozenset(),
) -> Stretch[Thing]:  # fmt: skip
    """A stretch of the list in a fixed number of queries, whatever the number of sites.

    `site` is part of a site's name; `kind` one of KINDS, anything else means all of them, but for
    those `without` which the caller does. Nothing is counted, and of each kind no more rows are
    looked at than the stretch may show, in the order in which an index has them: ten thousand sites
    cost what a hundred do.
    """
    number = page_number(page)
    branches = branches_of(actor, now)
    if not site:  # an instrument stands at none
        branches += calibration_branches(actor, now)
    branches = [(name, rows) for name, rows in branches if name not in without]
    chosen = [rows for name, rows in branches if kind not in KINDS or name == kind]
    if site:
        chosen = [at_sites_named(rows, site) for rows in chosen]
    first, *others = [columns(beginning(rows, number)) for rows in chosen]
    listed = first.union(*others, all=True) if others else first
    found = stretch(listed.order_by("place", "day", "kind", "row"), number)
    if number > 1 and not found.object_list:  # things were done since that address was made
        return next_things(actor, now, site=site, kind=kind, without=without)
    return replace(found, object_list=things(actor, found.object_list, now))


def beginning(rows: QuerySet[Any], number: int) -> QuerySet[Any]:
    """As many rows of one kind as a page can show of it, the worst first."""
    keys = rows.values("pk")[: number * PAGE + 1]
    return rows.order_by().filter(pk__in=keys)


def at_sites_named(rows: QuerySet[Any], part: str) -> QuerySet[Any]:
    return rows.filter(**{f"{rows.model.site_path}__name__icontains": part})


def columns(rows: QuerySet[Any]) -> QuerySet[Any]:
    return rows.values_list("kind", "place", "day", "row")


def standings(actor: Actor, now: datetime) -> list[tuple[str, str, str]]:
    """(kind, name, how many) of what is overdue, due and open; never counted beyond MOST."""
    out = []
    of_instruments = calibrations.counted(actor, now, MOST)
    for name, rows in duty_branches(actor, few_sites(actor)).items():
        count = rows.order_by().values("pk")[: MOST + 1].count() + of_instruments[name]
        out.append((name, KINDS[name], f"more than {MOST}" if count > MOST else str(count)))
    return out


def marked(rows: QuerySet[Any], kind: Any, rank: Any, when: Any, row: str = "pk") -> QuerySet[Any]:
    return rows.annotate(
        kind=kind if hasattr(kind, "resolve_expression") else text(kind),
        place=rank if hasattr(rank, "resolve_expression") else number(rank),
        day=when,
        row=F(row),
    )


def text(value: str) -> Value:
    return Value(value, output_field=CharField())


def number(value: int) -> Value:
    return Value(value, output_field=IntegerField())


def branches_of(actor: Actor, now: datetime) -> list[tuple[str, QuerySet[Any]]]:
    """Kinds and their rows, the worst of them first."""
    sites = few_sites(actor)
    out = marked(impairments(actor), "impairment", RANK["impairment"], TruncDate("started_at"))
    rows = [
        ("impairment", out.order_by("started_at", "pk")),
        ("deficiency", open_deficiencies(actor, sites).order_by("severity", "opened_at", "pk")),
        ("order", open_orders(actor, sites)),
        ("result", marked_results(actor, sites).order_by("rank", "tested_on", "pk")),
        ("result", marked_waiting(actor).order_by("place", "tested_on", "pk")),
        *unsigned_branches(actor, now),
        *duty_branches(actor, sites).items(),
    ]
    if "sent_back" in kinds_of(actor):  # what went back is a draft again
        rows.append(("sent_back", marked_sent_back(actor).order_by("day", "pk")))
    return rows


def kinds_of(actor: Actor) -> dict[str, str]:
    hidden = "sent_back" if actor.kind == "authority" else ""
    return {name: words for name, words in KINDS.items() if name != hidden}


def duty_branches(actor: Actor, sites: list[int] | None) -> dict[str, QuerySet[Any]]:
    """`sites` where they are few enough to be named (`few_sites`).

    Without retests of proportioners: an open one is told with the result that opened it.

    The order is that of the stored standing's indexes: what is overdue by its latest day, what is
    due or open by the day on which that changes.
    """
    rows = at_sites(open_duties(actor), sites).exclude(cause=Duty.Cause.RETEST, tank=None)
    out = {}
    for name, when, order in (
        ("overdue", "latest_on", "latest_on"),
        ("due", "latest_on", "stands_changes_on"),
        ("open", "due_on", "stands_changes_on"),
    ):
        here = rows.filter(stands=name, stands_changes_on__isnull=name == "overdue")
        standing = marked(here, name, RANK[name], F(when))
        out[name] = standing.order_by(order, "pk")
    return out


def calibration_branches(actor: Actor, now: datetime) -> list[tuple[str, QuerySet[Any]]]:
    """What is due of the own instruments, beside the duties of the same standing. One without a
    certificate is due today, for want of a day of its own."""
    out = [
        (name, marked(rows, CALIBRATION + name, RANK[name], F("due_on")).order_by("due_on", "pk"))
        for name, rows in calibrations.by_standing(actor, now).items()
    ]
    if out:
        today = Value(calibrations.day_of(now), output_field=DateField())
        rows = calibrations.not_on_record(actor, now)
        out.append(("due", marked(rows, NOT_ON_RECORD, RANK["due"], today)))
    return out


def marked_results(actor: Actor, sites: list[int] | None) -> QuerySet[Any]:
    """The latest record of a device when it does not prove it."""
    rows = at_sites(LatestRecord.objects.visible_to(actor), sites).filter(
        rank__isnull=False,
        proportioner__retired_on=None,
        proportioner__system__retired_on=None,
        proportioner__system__site__retired_on=None,
    )
    kind = Case(
        *(When(rank=rank, then=text(rank.label)) for rank in LatestRecord.NotProven),
        output_field=CharField(),
    )
    return marked(rows, kind, F("rank"), F("tested_on"), "test_id")


def marked_waiting(actor: Actor) -> QuerySet[Any]:
    """Such a result that was handed in and still waits for its signature: the owner must not learn
    of it late."""
    rows = ProportioningTest.objects.visible_to(actor).filter(
        ~Q(limits="in band") | Q(certainty="undecided"),
        state=State.HANDED_IN,
        proportioner__retired_on=None,
        proportioner__system__retired_on=None,
        site__retired_on=None,
    )
    kind = Case(
        When(limits="in band", then=text("undecided")), default=F("limits"),
        output_field=CharField(),
    )  # fmt: skip
    ranks = (When(limits=name, then=number(RANK[name])) for name in ("lean", "rich"))
    rank = Case(*ranks, default=number(RANK["undecided"]), output_field=IntegerField())
    return marked(rows, kind, rank, F("tested_on"))


def unsigned_branches(actor: Actor, now: datetime) -> list[tuple[str, QuerySet[Any]]]:
    """What waits for long for its signature, of which nothing is told but that."""
    out = []
    for kind, rows in (
        ("unsigned", unsigned_tests(actor, now)),
        (UNSIGNED_CHECK, unsigned_checks(actor, now)),
    ):
        when = marked(rows, kind, RANK["unsigned"], TruncDate("handed_in_at"))
        out.append(("unsigned", when.order_by("handed_in_at", "pk")))
    return out


def marked_sent_back(actor: Actor) -> QuerySet[Any]:
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
    out_of_service = with_what_is_out(by_kind.get("impairment", set()))
    wrong = keyed(Deficiency.objects.select_related(*PLACE), by_kind.get("deficiency", set()))
    orders = keyed(
        Order.objects.select_related("site__owner", "organisation", "deficiency"),
        by_kind.get("order", set()),
    )
    clocked = [row for row in out_of_service.values() if row.clocked]
    running = clocks.running(clocked, now) if clocked else {}
    tests = keyed(
        ProportioningTest.objects.select_related(
            "site", "visit__contractor", "proportioner__system"
        ),
        by_kind.get("test", set()),
    )
    duties = keyed(Duty.objects.select_related(*READ), by_kind.get("duty", set()))
    papers = keyed(
        Certificate.objects.select_related("instrument"), by_kind.get("certificate", set())
    )
    instruments = keyed(Instrument.objects.all(), by_kind.get("instrument", set()))
    checks = keyed(
        ConcentrateCheck.objects.select_related("site", "tank", "organisation"),
        by_kind.get("check", set()),
    )
    results = results_of(tests)
    retests = retests_of({test.proportioner_id for test in tests.values()}, now)
    reasons = reasons_of(by_kind.get("test", set()))
    engaged = contractors_at(actor, {row.site_id for row in [*tests.values(), *duties.values()]})
    out = []
    for kind, _, _, pk in rows:
        if kind == "impairment":
            out.append(not_restored(out_of_service[pk], now, running.get(pk, [])))
        elif kind == "deficiency":
            out.append(to_put_right(wrong[pk], actor))
        elif kind == "order":
            out.append(to_meet(orders[pk], now))
        elif source(kind) == "certificate":
            out.append(to_calibrate(papers[pk], now, actor))
        elif kind == NOT_ON_RECORD:
            out.append(never_calibrated(instruments[pk], actor))
        elif kind in ("unsigned", UNSIGNED_CHECK):
            row = checks[pk] if kind == UNSIGNED_CHECK else tests[pk]
            out.append(not_signed(unsigned(row, now, actor)))
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
    if kind in ("impairment", "deficiency", "order"):
        return kind
    if kind.startswith(CALIBRATION):
        return "certificate"
    if kind == NOT_ON_RECORD:
        return "instrument"
    if kind == UNSIGNED_CHECK:
        return "check"
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


def contractors_at(actor: Actor, sites: Set[int]) -> dict[int, str]:
    """Names of the contractors engaged at each site today."""
    rows = Grant.objects.today(actor).filter(site__in=sites)
    names: dict[int, list[str]] = {}
    for site, name in rows.order_by("organisation__name").values_list("site", "organisation__name"):
        if name not in names.setdefault(site, []):
            names[site].append(name)
    return {site: ", ".join(found) for site, found in names.items()}
