"""Concentrate checks: the list, one from its beginning to its seal, the bottles under way."""

import uuid
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import Actor
from itm.actions.hand_in import hand_in
from itm.core.errors import Refused
from itm.core.figures import day
from itm.intake.check import Problem
from itm.intake.complete_check import problems_of_check
from itm.records import along, checking, states
from itm.records import check_queries as queries
from itm.records.as_it_stands import record_form
from itm.records.cautions import TANK
from itm.records.check_forms import CheckEditForm, CheckForm
from itm.records.finding import STATES
from itm.records.results import state_words
from itm.registry import queries as registry
from itm.reports.address import check_path
from itm.web.checks_page import page
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import (
    Cell,
    Column,
    List,
    Narrow,
    beside,
    in_one_file,
    show,
    wanted,
    within_site,
)
from itm.web.photographs import photos_by_bottle
from itm.web.record_steps import Pages, step_addresses
from itm.web.wrong import wrong_by

LIMITS = Narrow(
    "limits", "Limits",
    tuple((word, word) for word in ("within limits", "outside limits", "no limits")),
)  # fmt: skip
STATE = Narrow("state", "State", STATES)
LEADS = {
    "owner": "Checks at your sites, from the day they are handed in.",
    "contractor": "Checks of your organisation, and sealed ones where it is engaged.",
    "authority": "Sealed checks in your jurisdiction.",
}


@signed_in
@require_GET
def checks(request: HttpRequest) -> HttpResponse:
    actor, (_, within) = actor_of(request), within_site(request)
    asked = wanted(request, (LIMITS, STATE), within)
    listed = List(
        title="Concentrate checks",
        lead=LEADS[actor.kind],
        columns=(
            Column("Sampled on", "checked_on"),
            Column("Site", "site"),
            Column("Tank", "tank"),
            Column("Limits", "limits"),
            Column("Strength"),
            Column("State"),
            Column("Report"),
        ),
        cells=_cells,
        empty="No check yet that is yours to see. A check is begun on the page of its tank.",
        retirable=False,
        beside=[in_one_file(request, "checks"), *beside("checks")],
        narrows=(LIMITS, STATE),
        within=within,
    )
    return show(request, listed, queries.listed_checks(actor, asked), asked)


def _cells(row: Any) -> tuple[Cell, ...]:
    said = ", ".join(filter(None, (row.strength, row.layers)))
    sealed = row.sealed_at is not None
    return (
        Cell(day(row.checked_on), reverse("check", args=[row.key])),
        Cell(row.site.name, reverse("site", args=[row.site.key])),
        Cell(row.tank.tag, reverse("tank", args=[row.tank.key])),
        Cell(row.limits),
        Cell(said),
        Cell(state_words(row)),
        Cell("Report", reverse("check_report", args=[row.key])) if sealed else Cell(""),
    )


def crumbs(row: Any, title: str = "") -> list[tuple[str, str]]:
    """Site, tank, check, and the page itself."""
    out = [
        (row.site.name, reverse("site", args=[row.site.key])),
        (row.tank.tag, reverse("tank", args=[row.tank.key])),
        (f"Check of {day(row.checked_on)}", reverse("check", args=[row.key])),
    ]
    return [*out, (title, "")] if title else out


@signed_in
@require_http_methods(["GET", "POST"])
def check_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    tank = registry.tank(actor, key)
    checking.require_checker(actor, tank.site)
    initial = {
        "key": uuid.uuid4(),
        "checked_on": site_date(tank.site.time_zone),
        "programmes": queries.latest_codes(actor, tank),
        "u_refractive_index": checking.U_INDEX,
        "u_density": checking.U_DENSITY,
    }
    form = CheckForm(request.POST or None, initial=initial)
    return edit(
        request, form=form, caution=TANK,
        write=lambda: checking.begin_check(
            actor=actor, tank=tank, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda row: reverse("check", args=[row.key]),
        title=f"Begin a concentrate check of {tank}", save="Begin the check",
        said="Begun. Note each bottle with its point in the tank.",
        lead="What its values will be held against is fixed now: the book of the tank, the "
        "certificates of its lots, and the limits chosen here.",
        back=reverse("tank", args=[key]),
        crumbs=[(tank.site.name, reverse("site", args=[tank.site.key])),
                (tank.tag, reverse("tank", args=[key]))],
    )  # fmt: skip


@signed_in
@require_GET
def check(request: HttpRequest, key: UUID) -> HttpResponse:
    return _record(request, key)


def _record(request: HttpRequest, key: UUID, *, status: int = 200) -> HttpResponse:
    actor = actor_of(request)
    row = queries.check(actor, key)
    form, missing = record_form(row)
    left: list[Problem] = []
    if states.possible(actor, "hand_in", row):
        left = problems_of_check(row, no_result=missing)
    elsewhere: list[str] = []
    if verb := next((v for v in ("hand_in", "sign") if states.possible(actor, v, row)), ""):
        elsewhere = along.may_hold_of(row, timezone.now(), verb=verb)
    verbs = ("change", "hand_in", "sign", "send_back", "abandon", "amend")
    photos = photos_by_bottle(actor, row)
    context = page(form, row) | {
        "record": row,
        "photos": [
            (sample.label, photos[sample.key])
            for sample in row.samples.all()
            if sample.key in photos
        ],
        "wrong": wrong_by(actor, row),
        "page_name": "check",
        "verb_names": PAGES.names,
        "missing": missing,
        "elsewhere": elsewhere,
        "left": [(problem, _mended_at(problem, row)) for problem in left],
        "may": {verb: states.possible(actor, verb, row) for verb in verbs},
        "change_url": reverse("check_edit", args=[key]),
        "change_label": "Change the check",
        "once": uuid.uuid4(),
        "seal": row.seal if row.state == "sealed" else None,
        "check_path": check_path(row.seal) if row.state == "sealed" else "",
        "amendment": row.amendments.exclude(state="abandoned").first(),
        "crumbs": [*crumbs(row)[:-1], (f"Check of {day(row.checked_on)}", "")],
    }
    return render(request, "checks/check.html", context, status=status)


def _mended_at(problem: Problem, row: Any) -> str:
    """The values of the bottle, its way where it is under way, or a new bottle."""
    if problem.code in ("result_outstanding", "report_missing"):
        return reverse("laboratory_report_new", args=[row.key])
    if problem.code == "no_sample":
        return reverse("bottle_new", args=[row.key])
    if problem.place == "samples":
        return f"{reverse('check', args=[row.key])}#bottles"
    return reverse("bottle_values", args=[problem.place])


@signed_in
@require_http_methods(["GET", "POST"])
def check_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = _own_draft(actor, key)
    fixed = any(sample.values.all() for sample in row.samples.all())
    form = CheckEditForm(request.POST or None, row=row, fixed=fixed)
    return edit(
        request, form=form, template="visits/form.html",
        write=lambda: checking.change_check(
            actor=actor, check=row, at=timezone.now(), opened=form.opened, **form.cleaned_data
        ),
        to=lambda _: reverse("check", args=[key]), said="Saved.",
        title="Change the check",
        lead="Values are entered, so what they are held against stays as it is." if fixed else "",
        back=reverse("check", args=[key]), crumbs=crumbs(row),
    )  # fmt: skip


def _own_draft(actor: Actor, key: UUID) -> Any:
    row = queries.check(actor, key)
    states.require(actor, "change", row)
    return row


@signed_in
@require_POST
def handing_in(request: HttpRequest, key: UUID) -> HttpResponse:
    """A double click carries the same key twice and makes one hand-in."""
    row = queries.check(actor_of(request), key)
    try:
        once = uuid.UUID(request.POST.get("once", ""))
    except ValueError:
        once = uuid.uuid4()
    try:
        hand_in(actor=actor_of(request), key=row.key, at=timezone.now(), once=once)
    except Refused as refusal:
        messages.error(request, refusal.sentence)
        return _record(request, key, status=422)
    messages.success(request, "Handed in. A supervisor or manager signs it, or sends it back.")
    return redirect("check", key=key)


PAGES = Pages(
    find=queries.check,
    page="check",
    heading=lambda row: f"concentrate check of {row.tank}, {day(row.checked_on)}",
    crumbs=crumbs,
    left=lambda row: reverse("tank", args=[row.tank.key]),
    prefix="check_",
)
urls: list[URLPattern] = [
    path("checks/", checks, name="checks"),
    path("tanks/<uuid:key>/checks/new/", check_new, name="check_new"),
    path("checks/<uuid:key>/", check, name="check"),
    path("checks/<uuid:key>/edit/", check_edit, name="check_edit"),
    path("checks/<uuid:key>/hand-in/", handing_in, name="check_hand_in"),
    *step_addresses("checks", PAGES),
]
