"""Links for readers without an account: what a manager of an owner makes, looks at and revokes."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.registry import links as services
from itm.registry.forms import ReadLinkForm
from itm.web import proving, shown_once
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in

HOME = "Links for readers"
MADE = "read_link_made"


@signed_in
@require_GET
def read_links(request: HttpRequest) -> HttpResponse:
    today = timezone.now().date()
    rows = [(row, row.stands(today)) for row in services.links(actor_of(request))]
    context = {
        "working": [row for row in rows if row[1] == "works"],
        "ended": [row for row in rows if row[1] != "works"],
        "crumbs": [(HOME, "")],
    }
    return render(request, "people/read_links.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def read_link_new(request: HttpRequest) -> HttpResponse:
    actor, now = actor_of(request), timezone.now()
    services.require_manager(actor)
    form = proving.asking(request, ReadLinkForm(request.POST or None, actor=actor))

    def write() -> UUID:
        by = proving.proved(request, form)
        row, secret = services.make(actor=by, at=now, **form.cleaned_data)
        shown_once.keep(request, MADE, row.key, secret)
        return row.key

    return edit(
        request, form=form, write=write, to=lambda key: reverse("read_link", args=[key]), said="",
        title="Make a link for a reader", save="Make the link", back=reverse("read_links"),
        lead="Whoever has the link reads, without an account, the sealed records of these sites, "
        "what is due there and which deficiencies are open. Nothing else, and nothing can be "
        "changed.",
        crumbs=[(HOME, reverse("read_links"))],
    )  # fmt: skip


@signed_in
@never_cache
@require_GET
def read_link(request: HttpRequest, key: UUID) -> HttpResponse:
    """The address itself stands here once, on the page that follows its making."""
    row = services.link(actor_of(request), key)
    secret = shown_once.take(request, MADE, row.key)
    context = {
        "row": row,
        "address": secret and request.build_absolute_uri(reverse("shared_sites", args=[secret])),
        "stands": row.stands(timezone.now().date()),
        "uses": services.uses(row),
        "changes": services.changes(row),
        "crumbs": [(HOME, reverse("read_links")), (row.name, "")],
    }
    return render(request, "people/read_link.html", context)


@signed_in
@require_POST
def read_link_revoke(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = services.revoke(actor=actor, row=services.link(actor, key), at=timezone.now())
    messages.success(request, f"Revoked: {row}. The link opens nothing any more.")
    return redirect("read_link", row.key)


urls: list[URLPattern] = [
    path("read-links/", read_links, name="read_links"),
    path("read-links/new/", read_link_new, name="read_link_new"),
    path("read-links/<uuid:key>/", read_link, name="read_link"),
    path("read-links/<uuid:key>/revoke/", read_link_revoke, name="read_link_revoke"),
]
