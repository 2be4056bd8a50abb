"""Inspections: a round over what is due at a site, its record, and what corrects it."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.actions.record_inspection import correct_inspection, record_inspection
from itm.core.figures import day
from itm.records import inspecting
from itm.records import inspection_queries as queries
from itm.records import queries as records
from itm.records.cautions import INSPECT
from itm.records.inspection_forms import CorrectForm, RoundForm
from itm.registry import queries as registry
from itm.registry.queries_attachments import let_go_among
from itm.schedule import wording
from itm.schedule.queries import standing_of
from itm.schedule.told import told
from itm.web.editing import site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Step, show, wanted
from itm.web.sites import crumbs_to


@signed_in
@require_http_methods(["GET", "POST"])
def inspect(request: HttpRequest, key: UUID) -> HttpResponse:
    """All tasks of one round on one page; what is left empty stays due."""
    actor = actor_of(request)
    site = registry.site(actor, key)
    inspecting.require_inspector(actor, site)
    ahead = request.GET.get("ahead") == "yes"
    visit = visit_asked_for(request, actor, site)
    every = queries.asked_at(actor, site, ahead=ahead)
    duties = [duty for duty in every if not queries.by_own_record(duty)]
    form = RoundForm(
        request.POST or None, request.FILES or None, duties=duties,
        initial={"done_on": site_date(site.time_zone)},
    )  # fmt: skip
    status = 200
    if request.method == "POST":
        status = 422
        there = inspecting.recorded(actor, request.POST.get("once", ""))
        if there is not None:  # pressed twice
            return redirect("inspection", there.key)
        if form.is_valid():
            with form.refusals():
                cleaned = form.cleaned_data
                made = record_inspection(
                    actor=actor, site=site, done_on=cleaned["done_on"], at=timezone.now(),
                    once=cleaned["once"], entries=form.entries(), photos=form.photos(), visit=visit,
                    note=cleaned["note"],
                )  # fmt: skip
                messages.success(request, f"Recorded: {made}.")
                return redirect("inspection", made.key)
    before = queries.not_possible_before(duties)
    now = timezone.now()
    context = {
        "site": site,
        "form": form,
        "tasks": [
            {
                "task": task,
                "place": inspecting.place_of(task.duty),
                "stands": standing_of(task.duty, now),
                "before": before.get(task.duty.pk),
                "when": wording.until(task.duty),
            }
            for task in form.tasks()
        ],
        "others": [told(duty) for duty in every if queries.by_own_record(duty)],
        "ahead": ahead,
        "caution": INSPECT,
        "lost": bool(request.FILES),
        "visit": visit,
        "crumbs": [*crumbs_to(site), ("Inspect", "")],
    }
    return render(request, "inspections/round.html", context, status=status)


def visit_asked_for(request: HttpRequest, actor: Any, site: Any) -> Any:
    """The visit that the round belongs to, named in the address; another site's is not found."""
    asked = request.GET.get("visit", "")
    if not asked:
        return None
    try:
        return records.visits(actor).filter(site=site, key=UUID(asked)).first()
    except ValueError:
        return None


@signed_in
@require_GET
def inspections(request: HttpRequest) -> HttpResponse:
    actor, asked = actor_of(request), wanted(request)
    listed = List(
        title="Inspections",
        lead="Rounds over what is looked at, measured or exercised. The page of a site begins one.",
        columns=(
            Column("Day", "day"),
            Column("Site", "site"),
            Column("By", "person"),
            Column("Done", number=True),
            Column("Not in order", number=True),
            Column("Not possible", number=True),
        ),
        cells=lambda row: (
            Cell(day(row.done_on), reverse("inspection", args=[row.key])),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(f"{row.person}, {row.organisation.name}"),
            Cell(str(row.done), number=True),
            Cell(str(row.faults), number=True),
            Cell(str(row.not_possible), number=True),
        ),
        empty="No inspection is recorded yet. The page of a site says what is to be inspected.",
        retirable=False,
        beside=(Step("Past inspections, brought in from lists", reverse("past_inspections")),),
    )
    return show(request, listed, queries.listed(actor, asked), asked)


@signed_in
@require_GET
def inspection(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.inspection(actor, key)
    context = {
        "inspection": row,
        "zone": row.site.time_zone,
        "lines": _lines(row),
        "mine": row.organisation_id == actor.organisation_id,
        "crumbs": [*crumbs_to(row.site), (f"Inspection, {day(row.done_on)}", "")],
    }
    return render(request, "inspections/inspection.html", context)


def _lines(row: Any) -> list[Any]:
    """With the words of each photo that was let go since, which no answer can know."""
    lines = list(queries.lines_of(row))
    answers = [one for line in lines for one in line.answers if one.get("attachment")]
    gone = let_go_among([one["attachment"] for one in answers])
    for one in answers:
        one["gone"] = gone.get(one["attachment"], "")
    return lines


@signed_in
@require_http_methods(["GET", "POST"])
def inspection_correct(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    line = queries.line(actor, key)
    inspecting.require_recorder(actor, line)
    form = CorrectForm(request.POST or None, line=line)
    there = reverse("inspection", args=[line.inspection.key])
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            with form.refusals():
                cleaned = form.cleaned_data
                made = correct_inspection(
                    actor=actor, line=line, at=timezone.now(), once=cleaned["once"],
                    why=cleaned["why"], entered=form.entered, broken=cleaned["broken"],
                    possible=not cleaned["impossible"], note=cleaned["note"],
                )  # fmt: skip
                messages.success(request, "Corrected. The line that was wrong stays to be read.")
                return redirect("inspection", made.key)
    context = {
        "line": line,
        "form": form,
        "back": there,
        "crumbs": [
            *crumbs_to(line.inspection.site),
            (f"Inspection, {day(line.inspection.done_on)}", there),
            ("Correct", ""),
        ],
    }
    return render(request, "inspections/correct.html", context, status=status)


urls: list[URLPattern] = [
    path("inspections/", inspections, name="inspections"),
    path("inspections/<uuid:key>/", inspection, name="inspection"),
    path("inspections/lines/<uuid:key>/correct/", inspection_correct, name="inspection_correct"),
    path("sites/<uuid:key>/inspect/", inspect, name="inspect"),
]
