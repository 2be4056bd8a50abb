"""Visits of an authority of its own: listed, noted, corrected by another note, withdrawn."""

from textwrap import shorten
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.core.errors import NotFound
from itm.core.figures import day
from itm.findings import forms, visiting
from itm.registry import queries as registry
from itm.registry.access import require_authority
from itm.registry.attaching import Upload
from itm.registry.forms import WithdrawForm
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Step, show, wanted, within_site
from itm.web.serving import served
from itm.web.sites import crumbs_to
from itm.web.uploading import was_dropped

STANDS = Narrow("stands", "Stands", (("standing", "as noted"), ("withdrawn", "withdrawn")))
NOTE = (
    "The owner reads it at once, and so does every authority of the site. Contractors do not: what "
    "has to be done is an order, which they see."
)


def brief(words: str) -> str:
    return shorten(words, 120, placeholder=" …")


@signed_in
@require_GET
def authority_visits(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    site, within = within_site(request)
    asked = wanted(request, (STANDS,), within)
    step = None
    if site is not None and visiting.may_note(actor, site):
        step = Step("Note a visit", reverse("authority_visit_new", args=[site.key]))
    listed = List(
        title="Visits of an authority",
        lead="What an authority noted when it came by itself, the newest first.",
        columns=(
            Column("What was looked at"), Column("Site"), Column("Day", number=True),
            Column("Authority"), Column("Who was there"), Column("Orders", number=True),
            Column("Stands"),
        ),
        cells=lambda row: (
            Cell(brief(row.looked_at), reverse("authority_visit", args=[row.key])),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(day(row.visited_on), number=True),
            Cell(row.organisation.name),
            Cell(brief(row.present)),
            Cell(str(row.ordered), number=True),
            Cell("withdrawn" if row.withdrawn_at else "as noted"),
        ),
        empty="No visit was noted. An authority notes one on the page of a site; a test day has "
        "its own record.",
        step=step,
        retirable=False,
        narrows=(STANDS,),
        within=within,
        beside=(Step("Orders", reverse("orders")), Step("Questions", reverse("questions"))),
    )  # fmt: skip
    return show(request, listed, visiting.visits(actor, asked), asked)


@signed_in
@require_http_methods(["GET", "POST"])
def authority_visit_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    require_authority(actor, site)
    form = _form(request, visited_on=site_date(site.time_zone))
    return edit(
        request, form=form, title="Note a visit", save="Note it", lead=NOTE,
        write=lambda: visiting.note_visit(
            actor=actor, site=site, at=timezone.now(), **_given(form)
        ),
        to=_address, back=reverse("site", args=[key]), said="Noted.", crumbs=crumbs_to(site),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def authority_visit_correct(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = visiting.visit(actor, key)
    visiting.require_maker(actor, row)
    initial = {name: getattr(row, name) for name in ("visited_on", "present", "looked_at")}
    form = _form(request, correcting=True, **initial)
    return edit(
        request, form=form, title="Put the note right", save="Put it right",
        write=lambda: visiting.correct_visit(
            actor=actor, visit=row, at=timezone.now(), **_given(form)
        ),
        lead="The note as it was stays to be read, withdrawn with the reason; this one takes its "
        "place, and the files go along.",
        to=_address, back=_address(row), said="Put right.", crumbs=_crumbs(row),
    )  # fmt: skip


def _form(request: HttpRequest, **more: Any) -> forms.AuthorityVisitForm:
    refused = was_dropped(request) if request.method == "POST" else []
    return forms.AuthorityVisitForm(request.POST, request.FILES, refused=refused, **more)


def _given(form: forms.AuthorityVisitForm) -> dict[str, Any]:
    given = dict(form.cleaned_data)
    chosen = given.pop("chosen")
    return {**given, "uploads": [Upload(one, one.name) for one in chosen]}


def _address(row: Any) -> str:
    return reverse("authority_visit", args=[row.key])


def _crumbs(row: Any) -> Crumbs:
    return [*crumbs_to(row.site), ("Visit of an authority", _address(row))]


@signed_in
@require_GET
def authority_visit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = visiting.visit(actor, key)
    mine = row.organisation_id == actor.organisation_id
    context = {
        "row": row,
        "zone": row.site.time_zone,
        "files": visiting.files_of(actor, row),
        "orders": list(row.orders.all()),
        "replaced_by": getattr(row, "replaced_by", None),
        "changes": mine and row.withdrawn_at is None,
        "orders_more": mine and row.withdrawn_at is None and visiting.may_note(actor, row.site),
        "crumbs": [*crumbs_to(row.site), ("Visit of an authority", "")],
    }
    return render(request, "findings/authority_visit.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def authority_visit_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = visiting.visit(actor, key)
    visiting.require_maker(actor, row)
    form = WithdrawForm(request.POST or None)
    return edit(
        request, form=form, title="Withdraw the note", save="Withdraw",
        write=lambda: visiting.withdraw_visit(
            actor=actor, visit=row, at=timezone.now(), **form.cleaned_data
        ),
        lead=f"Visit of {day(row.visited_on)}. The note stays to be read with the reason.",
        to=lambda _: _address(row), back=_address(row), said="Withdrawn.", crumbs=_crumbs(row),
    )  # fmt: skip


# Files --------------------------------------------------------------------------------------------


@signed_in
@require_GET
def authority_file(request: HttpRequest, key: UUID) -> HttpResponseBase:
    row = visiting.file_to_serve(actor_of(request), key)
    return served(row.file, row.content_type, row.name, saved=not row.is_picture)


@signed_in
@require_GET
def authority_file_preview(request: HttpRequest, key: UUID) -> HttpResponseBase:
    row = visiting.file_to_serve(actor_of(request), key)
    if not row.preview:
        raise NotFound("preview", key)
    return served(row.preview, "image/jpeg", f"{row.name}.jpg", saved=False)


@signed_in
@require_http_methods(["GET", "POST"])
def authority_file_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = visiting.file(actor, key)
    visiting.require_maker(actor, row.visit)
    form, there = WithdrawForm(request.POST or None), _address(row.visit)
    return edit(
        request, form=form, title=f"Withdraw {row}", save="Withdraw",
        write=lambda: visiting.withdraw_file(
            actor=actor, row=row, at=timezone.now(), **form.cleaned_data
        ),
        lead="The file is shown to nobody any more; its line stays and says why.",
        to=lambda _: there, back=there, said="Withdrawn: {}.", crumbs=_crumbs(row.visit),
    )  # fmt: skip


VISIT, FILE = "authority-visits/<uuid:key>/", "authority-visit-files/<uuid:key>/"
urls: list[URLPattern] = [
    path("authority-visits/", authority_visits, name="authority_visits"),
    path("sites/<uuid:key>/authority-visits/new/", authority_visit_new, name="authority_visit_new"),
    path(VISIT, authority_visit, name="authority_visit"),
    path(f"{VISIT}correct/", authority_visit_correct, name="authority_visit_correct"),
    path(f"{VISIT}withdraw/", authority_visit_withdraw, name="authority_visit_withdraw"),
    path(f"{FILE}file/", authority_file, name="authority_file"),
    path(f"{FILE}preview/", authority_file_preview, name="authority_file_preview"),
    path(f"{FILE}withdraw/", authority_file_withdraw, name="authority_file_withdraw"),
]
