"""How long records are kept: what is past its period, and what a person decides about it."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.archives import services as archives
from itm.core.clock import date_at
from itm.core.errors import NotFound
from itm.core.figures import day, instant
from itm.registry import queries
from itm.retention import letting, overview
from itm.retention.forms import DecideForm
from itm.web import proving
from itm.web.editing import Crumbs
from itm.web.guard import actor_of, signed_in
from itm.web.sites import crumbs_to

A_PAGE = 20  # sites
GOES = (
    "what is let go cannot be brought back. The record itself stays whole: its sealed bytes, its "
    "digest, its readings and result, and of each file the name, size and digest. Make an archive "
    "of the site first, and keep it where it will be found. Local law comes first; where it asks "
    "for longer than the rules here, it holds."
)


def crumbs_of(site: Any) -> Crumbs:
    return [*crumbs_to(site), ("How long records are kept", reverse("keeping", args=[site.key]))]


@signed_in
@require_GET
def keeping_sites(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    page = Paginator(overview.sites_of(actor), A_PAGE).get_page(request.GET.get("page"))
    rows = overview.over_sites(actor, list(page.object_list), timezone.now())
    context = {
        "rows": rows,
        "page": page,
        "crumbs": [("Sites", reverse("sites")), ("How long records are kept", "")],
    }
    return render(request, "keeping/sites.html", context)


@signed_in
@require_GET
def keeping(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    rows, unsaid = overview.at_site(actor, site, timezone.now())
    held, over = overview.periods_of(actor, site)
    context = {
        "site": site,
        "rows": rows,
        "unsaid": unsaid,
        "periods": held,
        "over": over,
        "decisions": letting.decisions(actor, site),
        "days": letting.WAITS.days,
        "crumbs": [*crumbs_to(site), ("How long records are kept", "")],
    }
    return render(request, "keeping/site.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def keeping_decide(request: HttpRequest, key: UUID, kind: str) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    now = timezone.now()
    if kind not in overview.KINDS:
        raise NotFound("kind of record", kind)
    found, count = overview.of_kind(actor, site, kind, now)
    every = request.GET.get("all") == "yes"
    form: Any = DecideForm(request.POST or None, files=[one for one, _ in found], every=every)
    form = proving.asking(request, form)
    if request.method == "POST" and form.is_valid():
        with form.refusals():
            proved = proving.proved(request, form)
            chosen = form.cleaned_data
            row = letting.decide(
                actor=proved, site=site, kind=kind, verb=chosen["verb"],
                keys=[UUID(one) for one in chosen["keys"]], until=chosen["until"],
                reason=chosen["reason"], at=now,
            )  # fmt: skip
            messages.success(request, f"Decided: {row}.")
            return redirect("keeping_decision", row.key)
    ticked = form.ticked()
    label = overview.KINDS[kind]
    context = {
        "site": site,
        "form": form,
        "kind": kind,
        "label": label,
        "files": [(one, free, str(one.row.key) in ticked) for one, free in found],
        "count": count,
        "size": sum(one.row.size for one, _ in found),
        "caution": GOES,
        "archive": _newest_archive(actor, site),
        "crumbs": [*crumbs_of(site), (label.capitalize(), "")],
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "keeping/decide.html", context, status=status)


def _newest_archive(actor: Any, site: Any) -> Any:
    """The last that was made whole, also where its file was let go meanwhile: somebody may hold
    a copy."""
    made = (row for row in archives.archives(actor, site) if row.taken_at and row.sha256)
    return next(made, None)


@signed_in
@require_GET
def keeping_decision(request: HttpRequest, key: UUID) -> HttpResponse:
    row = letting.decision(actor_of(request), key)
    zone = row.site.time_zone
    files = list(row.files.all())
    context = {
        "row": row,
        "site": row.site,
        "zone": zone,
        "files": [(one, _became(row, one, zone)) for one in files],
        "size": sum(one.size for one in files),
        "open": letting.may_be_taken_back(row, timezone.now()),
        "crumbs": [*crumbs_of(row.site), (f"Decided on {day(date_at(zone, row.decided_at))}", "")],
    }
    return render(request, "keeping/decision.html", context)


def _became(row: Any, file: Any, zone: str) -> str:
    words = {
        "gone": lambda: f"let go on {instant(file.gone_at, zone)}",
        "stays": lambda: f"stays: {file.stayed_why}" if file.stayed_why else "stays",
        "kept_on": lambda: f"kept until {day(row.until)}",
        "waits": lambda: "waits",
    }
    return words[letting.became(row, file)]()


@signed_in
@require_POST
def keeping_take_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = letting.take_back(actor=actor, row=letting.decision(actor, key), at=timezone.now())
    messages.success(request, f"Taken back: {row}. Every file of it stays.")
    return redirect("keeping_decision", row.key)


urls: list[URLPattern] = [
    path("keeping/", keeping_sites, name="keeping_sites"),
    path("sites/<uuid:key>/keeping/", keeping, name="keeping"),
    path("sites/<uuid:key>/keeping/<slug:kind>/", keeping_decide, name="keeping_decide"),
    path("keeping/decisions/<uuid:key>/", keeping_decision, name="keeping_decision"),
    path("keeping/decisions/<uuid:key>/take-back/", keeping_take_back, name="keeping_take_back"),
]
