"""Visits: the list, the plan, the page of one test day, the people told, the start."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import Actor, require_kind
from itm.actions.start_test_day import start_test_day as start
from itm.actions.take_back_start import may_take_back, take_back_start
from itm.core.figures import day, instant
from itm.findings.wording import COUNTED, lasting
from itm.records import effluent, queries, services
from itm.records.cautions import PREPARE
from itm.records.drafts import require_crew, writes_in
from itm.records.forms import NoticeForm, StartForm, VisitEditForm, VisitForm
from itm.records.progress import left_out, next_step, out_of_service
from itm.registry.access import works_at
from itm.web.editing import edit
from itm.web.effluent import TITLES
from itm.web.effluent_told import told
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Step, show, wanted, within_site
from itm.web.photographs import photos_by_thing
from itm.web.steps import LABELS, address, steps

FORM = "visits/form.html"
# NFPA 25, from memory: more than 10 hours in 24 asks for measures beyond telling people.
LONG_OUT = timedelta(hours=10)
EMPTY = {
    "contractor": "No visit yet. A visit is one crew at one site on one day; it holds the tests.",
    "owner": "No test day has been started at your sites. A contractor’s plans are its own; a "
    "visit shows here from the moment a system goes out of service.",
    "authority": "No test day has been started in your jurisdiction. A visit shows here from the "
    "moment a system goes out of service.",
}


@signed_in
@require_GET
def visits(request: HttpRequest) -> HttpResponse:
    actor, (_, within) = actor_of(request), within_site(request)
    asked = wanted(request, within=within)
    plans = actor.kind == "contractor"
    listed = List(
        title="Visits",
        lead="Test days, the newest first." if plans else "Test days that have been started.",
        columns=(
            Column("Visit", "planned"),
            Column("Site", "site"),
            Column("Contractor", "contractor"),
            Column("Protection"),
        ),
        cells=lambda row: (
            Cell(day(row.planned_on), reverse("visit", args=[row.key])),
            Cell(row.site.name),
            Cell(row.contractor.name),
            Cell(_protection(row)),
        ),
        empty=EMPTY[actor.kind],
        step=Step("Plan a visit", reverse("visit_new")) if plans else None,
        retirable=False,
        within=within,
    )
    return show(request, listed, queries.listed_visits(actor, asked), asked)


def _protection(row: Any) -> str:
    if row.started_at is None:
        return "planned"
    if row.impaired:
        return f"out of service since {instant(row.started_at, row.site.time_zone)}"
    return f"back in service {instant(row.restored_at, row.site.time_zone)}"


@signed_in
@require_http_methods(["GET", "POST"])
def visit_new(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    require_kind(actor, "contractor", what="plan a visit")
    initial = {"site": request.GET.get("site"), "planned_on": actor.today}
    form = VisitForm(request.POST or None, actor=actor, initial=initial)
    return edit(
        request, form=form, title="Plan a visit", save="Plan this visit", template=FORM,
        write=lambda: services.plan_visit(actor=actor, **form.cleaned_data),
        to=lambda row: reverse("visit", args=[row.key]), back=reverse("visits"),
        said="Planned: {}. Prepare its tests next.", crumbs=[("Visits", reverse("visits"))],
        no_sites=not queries.sites_to_visit(actor).exists(),
    )  # fmt: skip


@signed_in
@require_GET
def visit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.visit(actor, key)
    tests = queries.visit_tests(actor, row)
    crew = writes_in(actor, row)
    now = timezone.now()
    engaged = crew and works_at(actor, row.site)
    out = out_of_service(row, now)
    lines = effluent.lines_of(actor, row) if row.started_at else []
    context = {
        "effluent": lines,
        "effluent_told": told(effluent.balance(lines)),
        "effluent_kinds": [(kind.value, title) for kind, title in TITLES.items()],
        "notes_effluent": effluent.may_note(actor, row.site, row),
        "visit": row,
        "zone": row.site.time_zone,
        "crew": crew,
        "engaged": engaged,
        "planned": day(row.planned_on),
        "out_for": hours(out),
        "long_out": row.impaired and out is not None and out >= LONG_OUT,
        "left_out": left_out(row),
        "taken_back": crew and row.impaired and may_take_back(row),
        "tests": [(test, steps(test)) for test in tests],
        "photos": photos_by_thing(actor, row).get(row.key, []),
        "next": next_thing(row, tests) if crew and (engaged or tests) else None,
        "caution": PREPARE if crew and row.started_at is None else "",
        "can_change": crew and not any(t.state in ("handed_in", "sealed") for t in tests),
        "crumbs": [("Visits", reverse("visits")), (f"{row.site.name}, {day(row.planned_on)}", "")],
    }
    return render(request, "visits/visit.html", context)


def hours(lasted: timedelta | None) -> str:
    if lasted is None:
        return ""
    if lasted >= COUNTED:
        return lasting(lasted)
    minutes = int(lasted.total_seconds()) // 60
    return f"{minutes // 60} h {minutes % 60:02d} min"


def next_thing(row: Any, tests: Sequence[Any]) -> tuple[str, str] | None:
    """The one obvious next action of the crew: its words and its address."""
    if not tests:
        return "Prepare a test", reverse("test_new", args=[row.key])
    drafts = [test for test in tests if test.state == "draft"]
    if row.started_at is None:
        return "Start the test day", reverse("start_test_day", args=[row.key])
    ahead = [(list(LABELS).index(next_step(t)), t) for t in drafts if next_step(t)]
    if ahead:
        place, test = min(ahead, key=lambda pair: pair[0])
        step = list(LABELS)[place]
        verb = "Hand in" if step == "result" else LABELS[step][0]
        return f"{verb}: {test.proportioner.tag}, {test.get_phase_display()}", address(test, step)
    if row.impaired:
        return "Put back what is out of service", reverse("restoring", args=[row.key])
    waiting = next((test for test in tests if test.state == "handed_in"), None)
    return ("Sign", reverse("test", args=[waiting.key])) if waiting else None


def to_visit(row: Any) -> list[tuple[str, str]]:
    place = f"{row.site.name}, {day(row.planned_on)}"
    return [("Visits", reverse("visits")), (place, reverse("visit", args=[row.key]))]


def own(actor: Actor, key: UUID) -> Any:
    """A visit whose crew the actor belongs to. Raises NotFound, Forbidden."""
    row = queries.visit(actor, key)
    require_crew(actor, row)
    return row


@signed_in
@require_http_methods(["GET", "POST"])
def visit_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = own(actor, key)
    form = VisitEditForm(request.POST or None, row=row)
    return edit(
        request, form=form, title="Change the visit", template=FORM,
        write=lambda: services.change_visit(
            actor=actor, visit=row, opened=form.opened, **form.cleaned_data
        ),
        to=lambda _: reverse("visit", args=[key]), back=reverse("visit", args=[key]),
        crumbs=to_visit(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def notice_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = own(actor, key)
    form = NoticeForm(request.POST or None, visit=row, now=timezone.now())
    return edit(
        request, form=form, title="Somebody was told", template=FORM,
        write=lambda: services.add_notice(actor=actor, visit=row, **form.cleaned_data),
        to=lambda _: reverse("visit", args=[key]), back=reverse("visit", args=[key]),
        said="Noted: {} told.", crumbs=to_visit(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def start_test_day(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = own(actor, key)
    form = StartForm(request.POST or None, visit=row, now=timezone.now())

    def begin() -> Any:
        given = dict(form.cleaned_data)
        # Pressed twice without a time of its own, it is the start that stands.
        at = given.pop("started_at") or row.started_at or timezone.now()
        return start(actor=actor, key=key, at=at, now=timezone.now(), **given)

    return edit(
        request, form=form, title="Start the test day", template=FORM, write=begin,
        save="Start: the system is out of service",
        lead="From here on owner and authority see that the protection is impaired, until the "
        "last line of the restoration list is back in place.",
        to=lambda _: reverse("visit", args=[key]), back=reverse("visit", args=[key]),
        said="The test day has begun.", crumbs=to_visit(row), caution=PREPARE,
        untold=not row.notices.all(),
    )  # fmt: skip


@signed_in
@require_POST
def start_take_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    take_back_start(actor=actor, visit=queries.visit(actor, key), at=timezone.now())
    messages.success(request, "Taken back: the test day has not begun.")
    return redirect("visit", key=key)


urls: list[URLPattern] = [
    path("visits/", visits, name="visits"),
    path("visits/new/", visit_new, name="visit_new"),
    path("visits/<uuid:key>/", visit, name="visit"),
    path("visits/<uuid:key>/edit/", visit_edit, name="visit_edit"),
    path("visits/<uuid:key>/notices/new/", notice_new, name="notice_new"),
    path("visits/<uuid:key>/start/", start_test_day, name="start_test_day"),
    path("visits/<uuid:key>/start/back/", start_take_back, name="start_take_back"),
]
