"""Restore: line by line back in place, or left out of service and handed over in writing."""

from itertools import groupby
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.actions import restore
from itm.core.errors import Conflict, Refused
from itm.core.figures import instant
from itm.records import queries
from itm.records.cautions import RESTORE
from itm.records.drafts import require_crew, writes_in
from itm.records.forms import LeftOutForm
from itm.records.progress import left_out, out_of_service, reopens
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.photographs import photos_by_thing
from itm.web.steps import steps
from itm.web.visits import hours, to_visit


@signed_in
@require_GET
def restoring(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    visit = queries.visit(actor, key)
    zone, crew = visit.site.time_zone, writes_in(actor, visit)
    fixed = queries.handed_in_devices(visit)
    tests = queries.visit_tests(actor, visit)
    out = {line.pk for line in left_out(visit)}
    photos = photos_by_thing(actor, visit)
    lines = [
        _shown(line, zone, line.pk in out, fixed) | {"photos": photos.get(line.key, [])}
        for line in visit.restoration_lines.all()
    ]
    groups = [
        (device, list(rows))
        for device, rows in groupby(lines, lambda row: row["line"].proportioner)
    ]
    context = {
        "visit": visit,
        "zone": zone,
        "groups": groups,
        "open": sum(row["line"].outcome == "" for row in lines),
        "out": len(out),
        "writes": crew and visit.started_at is not None,
        "out_for": hours(out_of_service(visit, timezone.now())),
        "tests": tests,
        "steps": steps(tests[0], "restore") if crew and len(tests) == 1 else [],
        "caution": RESTORE,
        "crumbs": [*to_visit(visit), ("Restore", "")],
    }
    return render(request, "visits/restoring.html", context)


def _shown(line: Any, zone: str, out: bool, fixed: set[int]) -> dict[str, Any]:
    """A line, when it ended, and what can still be done with it."""
    return {
        "line": line,
        "at": instant(line.ended_at, zone),
        "handed_at": instant(line.handed_at, zone),
        "out": out,
        "reopens": reopens(line, fixed),
    }


@signed_in
@require_POST
def line_end(request: HttpRequest, key: UUID) -> HttpResponse:
    """Restored or not fitted: one press."""
    actor = actor_of(request)
    line = queries.restoration_line(actor, key)
    outcome = request.POST.get("outcome", "")
    try:
        restore.end_line(actor=actor, line=line, outcome=outcome, at=timezone.now())
    except (Conflict, Refused) as refusal:
        messages.error(request, refusal.sentence)
    return _to_line(line)


@signed_in
@require_http_methods(["GET", "POST"])
def line_left_out(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    line = queries.restoration_line(actor, key)
    require_crew(actor, line.visit)
    now = timezone.now()
    form = LeftOutForm(request.POST or None, zone=line.visit.site.time_zone, now=now)
    return edit(
        request, form=form, title="Left out of service", template="visits/form.html",
        lead=f"{line.text}. The impairment stays open, for owner and authority to see, until the "
        "line is put back.",
        write=lambda: restore.end_line(
            actor=actor, line=line, outcome="left_out", at=now, **form.cleaned_data
        ),
        to=lambda _: _address(line), back=_address(line), save="It stays out of service",
        said="Left out of service: {}.",
        crumbs=[*to_visit(line.visit), ("Restore", reverse("restoring", args=[line.visit.key]))],
    )  # fmt: skip


@signed_in
@require_POST
def line_reopen(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    line = queries.restoration_line(actor, key)
    try:
        restore.reopen_line(actor=actor, line=line, at=timezone.now())
        messages.success(request, f"Open again: {line.text}.")
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    return _to_line(line)


@signed_in
@require_POST
def line_put_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    line = queries.restoration_line(actor, key)
    try:
        restore.put_back(actor=actor, line=line, at=timezone.now())
        messages.success(request, f"Put back: {line.text}.")
    except (Conflict, Refused) as refusal:
        messages.error(request, refusal.sentence)
    return _to_line(line)


def _address(line: Any) -> str:
    return f"{reverse('restoring', args=[line.visit.key])}#line-{line.key}"


def _to_line(line: Any) -> HttpResponse:
    return redirect(_address(line))


urls: list[URLPattern] = [
    path("visits/<uuid:key>/restoring/", restoring, name="restoring"),
    path("restoration-lines/<uuid:key>/end/", line_end, name="line_end"),
    path("restoration-lines/<uuid:key>/left-out/", line_left_out, name="line_left_out"),
    path("restoration-lines/<uuid:key>/reopen/", line_reopen, name="line_reopen"),
    path("restoration-lines/<uuid:key>/put-back/", line_put_back, name="line_put_back"),
]
