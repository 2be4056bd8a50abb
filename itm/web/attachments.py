"""Photos and papers: attached, listed, served to those who may see the site, withdrawn."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.template.defaultfilters import filesizeformat
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.actions.withdraw_file import require_free, withdraw_file
from itm.core.clock import date_at
from itm.core.errors import NotFound
from itm.core.figures import day
from itm.registry import attaching, queries, queries_attachments
from itm.registry.attaching import Target, Upload
from itm.registry.forms import AttachForm, WithdrawFileForm
from itm.web.attached import page_of
from itm.web.editing import Crumbs, edit
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Step, beside, show, wanted, within_site
from itm.web.serving import served, there
from itm.web.sites import crumbs_to
from itm.web.uploading import was_dropped

KINDS = Narrow("kind", "Kind", queries_attachments.KINDS)
LEADS = {
    "lot": "The maker's certificate, a laboratory's report. Whoever sees the lot sees them: also "
    "at a tank with any of it.",
    "instrument": "Only your organisation sees them.",
    "certificate": "The certificate as the laboratory wrote it. Only your organisation sees it.",
}


def _added_on(row: Any) -> str:
    """On the calendar of the site; what stands at none is dated in UTC."""
    return day(date_at(row.site.time_zone if row.site else "UTC", row.added_at))


@signed_in
@require_GET
def attachments(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    site, within = within_site(request)
    asked = wanted(request, (KINDS,), within)
    step = None
    if site is not None and actor.kind in ("owner", "contractor") and site.retired_on is None:
        step = Step("Attach files", reverse("attachment_new", args=[site.key]))
    listed = List(
        title="Photos and papers",
        lead="What was attached to sites and to things there, to lots and to instruments.",
        columns=(
            Column("File", "name"),
            Column("What it shows"),
            Column("Hangs on"),
            Column("Site", "site"),
            Column("Added", "added_at", number=True),
            Column("Size", "size", number=True),
        ),
        cells=lambda row: (
            Cell(row.name, "" if row.let_go else reverse("attachment_file", args=[row.key])),
            Cell("; ".join(filter(None, (row.caption, row.let_go)))),
            Cell(row.hangs_on, f"{page_of(row.target)}#attachments"),
            Cell(row.site.name, page_of(row.site)) if row.site else Cell(""),
            Cell(_added_on(row), number=True),
            Cell(filesizeformat(row.size), number=True),
        ),
        empty="Nothing is attached yet. Photos and papers are attached on the page of their site, "
        "system, tank, valve, lot or instrument.",
        step=step,
        retirable=False,
        beside=beside("attachments"),
        narrows=(KINDS,),
        within=within,
    )
    return show(request, listed, queries_attachments.attachments(actor, asked), asked)


@signed_in
@require_http_methods(["GET", "POST"])
def attachment_new(request: HttpRequest, key: UUID) -> HttpResponse:
    """On the thing that the address names, or on the site alone."""
    actor = actor_of(request)
    site = queries.site(actor, key)
    attaching.require_may_attach(actor, site)
    target = queries_attachments.target_at(actor, site, request.GET.get("at", ""))
    return _taken_in(
        request, site, target,
        "Whoever sees the site sees them. Show no faces and nothing that its owner would not hand "
        "out.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def attachment_apart(request: HttpRequest, key: UUID, of: str) -> HttpResponse:
    """On a lot, an instrument or one of its certificates."""
    actor = actor_of(request)
    target = queries_attachments.target_apart(actor, of, key)
    attaching.require_may_attach(actor, target)
    return _taken_in(request, None, target, LEADS[of])


def _taken_in(
    request: HttpRequest, site: queries.Site | None, target: Target, lead: str
) -> HttpResponse:
    actor = actor_of(request)
    refused = was_dropped(request) if request.method == "POST" else []
    form = AttachForm(request.POST, request.FILES, refused=refused)
    there = f"{page_of(target)}#attachments"

    def write() -> Any:
        uploads = [Upload(one, one.name) for one in form.cleaned_data["chosen"]]
        made = attaching.attach(
            actor=actor, site=site, target=target, uploads=uploads, at=timezone.now(),
            caption=form.cleaned_data["caption"],
        )  # fmt: skip
        return ", ".join(row.name for row in made)

    return edit(
        request, form=form, write=write, to=lambda _: there,
        title=f"Attach photos or papers to {target}", save="Attach", said="Attached: {}.",
        lead=lead, back=there, crumbs=_crumbs(target, site),
    )  # fmt: skip


def _crumbs(target: Target, site: queries.Site | None) -> Crumbs:
    if site is not None:
        return crumbs_to(site)
    if isinstance(target, queries.ConcentrateLot):
        return [("Lots", reverse("lots")), (str(target), page_of(target))]
    return [("Instruments", reverse("instruments")), (str(target), page_of(target))]


@signed_in
@require_GET
def attachment_file(request: HttpRequest, key: UUID) -> HttpResponseBase:
    """Pictures open in the browser, everything else is handed over to be saved."""
    row = there(queries_attachments.file_to_serve(actor_of(request), key))
    return served(row.file, row.content_type, row.name, saved=not row.is_picture)


@signed_in
@require_GET
def attachment_preview(request: HttpRequest, key: UUID) -> HttpResponseBase:
    row = there(queries_attachments.file_to_serve(actor_of(request), key))
    if not row.preview:
        raise NotFound("preview", key)
    return served(row.preview, "image/jpeg", f"{row.name}.jpg", saved=False)


@signed_in
@require_http_methods(["GET", "POST"])
def attachment_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries_attachments.attachment(actor, key)
    require_free(actor, row)
    form = WithdrawFileForm(request.POST or None)
    there = f"{page_of(row.target)}#attachments"

    def write() -> Any:
        done = withdraw_file(actor=actor, row=row, at=timezone.now(), **form.cleaned_data)
        undo = reverse("attachment_bring_back", args=[key])
        messages.success(request, f"Withdrawn: {done}.", extra_tags=undo)
        return done

    return edit(
        request, form=form, write=write, to=lambda _: there, said="",
        title=f"Withdraw {row}", save="Withdraw", back=there,
        crumbs=_crumbs(row.target, row.site),
    )  # fmt: skip


@signed_in
@require_POST
def attachment_bring_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries_attachments.attachment(actor, key)
    attaching.bring_back(actor=actor, row=row)
    messages.success(request, f"Shown again: {row}.")
    return redirect(f"{page_of(row.target)}#attachments")


urls: list[URLPattern] = [
    path("attachments/", attachments, name="attachments"),
    path("sites/<uuid:key>/attachments/new/", attachment_new, name="attachment_new"),
    *(
        path(
            f"{of}s/<uuid:key>/attachments/new/",
            attachment_apart,
            {"of": of},
            name=f"{of}_attachment_new",
        )
        for of in LEADS
    ),
    path("attachments/<uuid:key>/file/", attachment_file, name="attachment_file"),
    path("attachments/<uuid:key>/preview/", attachment_preview, name="attachment_preview"),
    path("attachments/<uuid:key>/withdraw/", attachment_withdraw, name="attachment_withdraw"),
    path("attachments/<uuid:key>/bring-back/", attachment_bring_back, name="attachment_bring_back"),
]
