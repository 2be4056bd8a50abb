"""Archives of a whole site: asked for, watched while they are made, fetched, let go."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_GET, require_POST

from itm.archives import services
from itm.registry import queries
from itm.web.editing import Crumbs
from itm.web.guard import actor_of, signed_in
from itm.web.serving import served
from itm.web.sites import crumbs_to

STEPS = {
    "rows": "Reading all rows of the site.",
    "files": "Putting in photos, papers and reports.",
    "store": "Storing it.",
}


def crumbs_of(site: Any) -> Crumbs:
    return [*crumbs_to(site), ("Archives", reverse("site_archives", args=[site.key]))]


@signed_in
@require_GET
def site_archives(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    rows = services.archives(actor, site)
    context = {
        "site": site,
        "rows": rows,
        "busy": next((row for row in rows if row.busy), None),
        "days": services.KEPT.days,
        "came": services.brought_in(site),
        "crumbs": [*crumbs_to(site), ("Archives", "")],
    }
    return render(request, "archives/list.html", context)


@signed_in
@require_POST
def archive_ask(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = services.ask(actor=actor, site=queries.site(actor, key), at=timezone.now())
    return redirect("archive", row.key)


@signed_in
@require_GET
def archive(request: HttpRequest, key: UUID) -> HttpResponse:
    """While it is being made the page looks again by itself; without script a link does."""
    row = services.archive(actor_of(request), key)
    context = {
        "row": row,
        "site": row.site,
        "step": STEPS.get(row.step, ""),
        "crumbs": [*crumbs_of(row.site), (f"{row.asked_at:%Y-%m-%d %H:%M} UTC", "")],
    }
    return render(request, "archives/archive.html", context)


@signed_in
@require_POST
def archive_cancel(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = services.archive(actor, key)
    services.cancel(actor=actor, row=row, at=timezone.now())
    messages.success(request, "Cancelled: no archive is made. You can ask for another at any time.")
    return redirect("archive", row.key)


@signed_in
@require_GET
def archive_file(request: HttpRequest, key: UUID) -> HttpResponseBase:
    """To be saved, in chunks: it may be larger than the memory of the server."""
    actor = actor_of(request)
    row = services.fetched(actor=actor, row=services.archive(actor, key))
    name = f"{slugify(f'{row.site.name} {row.taken_at:%Y-%m-%d}')}.zip"
    return served(
        row.file, "application/zip", name, saved=True, cache="private, no-store", size=row.size
    )


urls: list[URLPattern] = [
    path("sites/<uuid:key>/archives/", site_archives, name="site_archives"),
    path("sites/<uuid:key>/archives/new/", archive_ask, name="archive_ask"),
    path("archives/<uuid:key>/", archive, name="archive"),
    path("archives/<uuid:key>/cancel/", archive_cancel, name="archive_cancel"),
    path("archives/<uuid:key>/file/", archive_file, name="archive_file"),
]
