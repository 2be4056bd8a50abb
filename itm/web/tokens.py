"""Tokens of programs: what a manager of the organisation makes, reads and revokes."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts import tokens as services
from itm.accounts.forms import TokenForm
from itm.web import proving, shown_once
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in

HOME = "Tokens for programs"
MADE = "token_made"


@signed_in
@require_GET
def tokens(request: HttpRequest) -> HttpResponse:
    today = timezone.now().date()
    rows = [(row, services.stands(row, today)) for row in services.tokens(actor_of(request))]
    context = {
        "working": [row for row in rows if row[1] == "works"],
        "ended": [row for row in rows if row[1] != "works"],
        "crumbs": [(HOME, "")],
    }
    return render(request, "tokens/list.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def token_new(request: HttpRequest) -> HttpResponse:
    actor, now = actor_of(request), timezone.now()
    services.require_manager(actor)
    form = proving.asking(request, TokenForm(request.POST or None, today=now.date()))

    def write() -> UUID:
        by = proving.proved(request, form)
        row, text = services.make(actor=by, at=now, **form.cleaned_data)
        shown_once.keep(request, MADE, row.key, text)
        return row.key

    return edit(
        request, form=form, write=write, to=lambda key: reverse("token", args=[key]),
        title="Make a token", save="Make the token", said="", back=reverse("tokens"),
        lead="The program then acts as you, for your organisation, and may do what is ticked here "
        "and you may do yourself. It ends with your time in the organisation.",
        crumbs=[(HOME, reverse("tokens"))],
    )  # fmt: skip


@signed_in
@never_cache
@require_GET
def token(request: HttpRequest, key: UUID) -> HttpResponse:
    """The token itself stands here once, on the page that follows its making."""
    row = services.token(actor_of(request), key)
    context = {
        "token": row,
        "text": shown_once.take(request, MADE, row.key),
        "stands": services.stands(row, timezone.now().date()),
        "changes": services.changes(row),
        "address": request.build_absolute_uri("/api/v1/"),
        "crumbs": [(HOME, reverse("tokens")), (row.name, "")],
    }
    return render(request, "tokens/token.html", context)


@signed_in
@require_POST
def token_revoke(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = services.revoke(actor=actor, row=services.token(actor, key), at=timezone.now())
    messages.success(request, f"Revoked: {row}. Whatever uses it is refused from now on.")
    return redirect("token", row.key)


urls: list[URLPattern] = [
    path("tokens/", tokens, name="tokens"),
    path("tokens/new/", token_new, name="token_new"),
    path("tokens/<uuid:key>/", token, name="token"),
    path("tokens/<uuid:key>/revoke/", token_revoke, name="token_revoke"),
]
