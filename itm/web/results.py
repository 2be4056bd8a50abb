"""The record of a test: what it says, and the steps of its life."""

import uuid
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from itm.actions.hand_in import hand_in
from itm.core.errors import Refused
from itm.intake.check import Problem
from itm.intake.complete import problems
from itm.records import along, queries, states
from itm.records.as_it_stands import record_form
from itm.records.cautions import LOOK
from itm.records.entry_times import arrived
from itm.records.loading import whole
from itm.reports.address import check_path
from itm.reports.content_entry import entry_pattern
from itm.reports.wording import SiteClock
from itm.trends.where_to_look import where_to_look
from itm.web.guard import actor_of, signed_in
from itm.web.record_steps import Pages, step_addresses
from itm.web.results_page import page
from itm.web.steps import address, crumbs, steps
from itm.web.wrong import wrong_by


@signed_in
@require_GET
def test(request: HttpRequest, key: UUID) -> HttpResponse:
    return _record(request, key)


test.__test__ = False  # type: ignore[attr-defined]  # a page, whatever its name begins with


def _record(request: HttpRequest, key: UUID, *, status: int = 200) -> HttpResponse:
    actor = actor_of(request)
    row = queries.test(actor, key)
    loaded = None if row.state == "sealed" else whole(row.pk)
    form, missing = record_form(row, loaded)
    left: list[Problem] = []
    elsewhere: list[str] = []
    if states.possible(actor, "hand_in", row):
        left = problems(row, no_result=missing, loaded=loaded)
    if verb := next((v for v in ("hand_in", "sign") if states.possible(actor, v, row)), ""):
        elsewhere = along.may_hold_of(row, timezone.now(), verb=verb)
    context = page(form) | {
        "test": row,
        "missing": missing,
        "elsewhere": elsewhere,
        "left": [(problem, _mended_at(problem, row)) for problem in left],
        "may": {
            verb: states.possible(actor, verb, row)
            for verb in ("change", "hand_in", "sign", "send_back", "abandon", "amend")
        },
        "where_to_look": where_to_look(actor, row, form, timezone.now()),
        "caution": LOOK,
        "entered": entry_pattern(form, SiteClock.of(form), arrived(form))
        if row.state != "draft"
        else (),
        "once": uuid.uuid4(),
        "seal": row.seal if row.state == "sealed" else None,
        "check_path": check_path(row.seal) if row.state == "sealed" else "",
        "record": row,
        "wrong": wrong_by(actor, row),
        "page_name": "test",
        **_change(row, form),
        "verb_names": PAGES.names,
        # Only what is sealed is amended.
        "amendment": row.amendments.exclude(state="abandoned").first()
        if row.state == "sealed"
        else None,
        "crumbs": crumbs(row),
        "steps": steps(row, "result") if row.state in ("draft", "handed_in") else [],
    }
    return render(request, "results/record.html", context, status=status)


def _change(row: Any, form: dict[str, Any]) -> dict[str, str]:
    """Where a draft is worked on, and what the button to it says."""
    if row.is_direct:
        return {"change_url": reverse("measure", args=[row.key]), "change_label": "To Measure"}
    label = "To the bench" if form["evaluation"] is None else "Read a bottle again"
    return {"change_url": reverse("bench", args=[row.key]), "change_label": label}


def _mended_at(problem: Problem, row: Any) -> str:
    """Where the person mends it."""
    if problem.code == "not_started":
        return reverse("visit", args=[row.visit.key])
    return address(row, {"restoring": "restore"}.get(problem.place, problem.place))


@signed_in
@require_POST
def handing_in(request: HttpRequest, key: UUID) -> HttpResponse:
    """A double click carries the same key twice and makes one hand-in."""
    try:
        once = uuid.UUID(request.POST.get("once", ""))
    except ValueError:
        once = uuid.uuid4()
    row = queries.test(actor_of(request), key)
    try:
        hand_in(actor=actor_of(request), key=row.key, at=timezone.now(), once=once)
    except Refused as refusal:
        messages.error(request, refusal.sentence)
        return _record(request, key, status=422)
    messages.success(request, "Handed in. A supervisor or manager signs it, or sends it back.")
    return redirect("test", key=key)


PAGES = Pages(
    find=queries.test,
    page="test",
    heading=lambda row: f"test of {row.proportioner.tag}, {row.get_phase_display()}",
    crumbs=crumbs,
    left=lambda row: reverse("visit", args=[row.visit.key]),  # a draft is the crew's own again
)
urls: list[URLPattern] = [
    path("tests/<uuid:key>/", test, name="test"),
    path("tests/<uuid:key>/hand-in/", handing_in, name="hand_in"),
    *step_addresses("tests", PAGES),
]
