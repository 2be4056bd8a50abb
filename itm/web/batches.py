"""Many reports in one file: asked for from a list, watched while it is made, and taken along."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.figures import day, instant
from itm.records import check_queries, finding
from itm.registry.finding import Wanted
from itm.reports import batches as deeds
from itm.reports.choices import KEPT, SIZES, TYPED, UNITS
from itm.web import checks, records
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Within, beside, show, wanted, within_site
from itm.web.serving import served

CRUMBS = [("Files of reports", "/batches/")]


@dataclass(frozen=True)
class Source:
    """A list that reports can be asked from: its page, how it is narrowed, and its rows."""

    page: str
    title: str
    narrows: tuple[Narrow, ...]
    rows: Callable[[Actor, Wanted], Any]


class PaperForm(forms.Form):
    """On which paper and in which units; the reports that are kept where nobody says."""

    paper = forms.ChoiceField(choices=[*SIZES.items()], initial=KEPT)
    units = forms.ChoiceField(
        choices=[*UNITS.items()], initial=TYPED,
        help_text="In other units than were typed, the typed ones stand in brackets.",
    )  # fmt: skip

    @property
    def chosen(self) -> dict[str, str]:
        return self.cleaned_data if self.is_bound else {"paper": KEPT, "units": TYPED}


SOURCES = {
    "tests": Source("records", "Proportioning tests", (records.LIMITS, records.STATE),
                    finding.listed_tests),
    "checks": Source("checks", "Concentrate checks", (checks.LIMITS, checks.STATE),
                     check_queries.listed_checks),
}  # fmt: skip


@signed_in
@require_GET
def batches(request: HttpRequest) -> HttpResponse:
    asked = wanted(request)
    listed = List(
        title="Files of reports",
        lead="Files with many reports that you asked for. Each is kept for some days and can be "
        "asked for again.",
        columns=(
            Column("What was asked for"),
            Column("Asked", "asked_at", number=True),
            Column("Reports", number=True),
            Column("State"),
            Column("Kept until", number=True),
        ),
        cells=lambda row: (
            Cell(row.words, reverse("batch", args=[row.key])),
            Cell(instant(row.asked_at), number=True),
            Cell(str(len(row.records)), number=True),
            Cell(row.get_state_display()),
            Cell(day(row.expires_at) if row.state == "ready" else "", number=True),
        ),
        empty="No file yet. The lists of records and of concentrate checks have a link to the "
        "reports of what they show.",
        retirable=False,
        beside=beside("batches"),
    )
    return show(request, listed, deeds.listed(actor_of(request), asked), asked)


@signed_in
@require_http_methods(["GET", "POST"])
def batch_new(request: HttpRequest, kind: str) -> HttpResponse:
    """How many reports the list holds as the address narrows it, and the button that asks."""
    if kind not in SOURCES:
        raise Http404
    actor, source = actor_of(request), SOURCES[kind]
    _, within = within_site(request)
    asked = wanted(request, source.narrows, within)
    rows = source.rows(actor, asked)
    keys, problem = deeds.sealed_among(rows), ""
    form = PaperForm(request.POST or None)
    try:
        deeds.require_bound(keys)
        if request.method == "POST" and (not request.POST or form.is_valid()):
            row = deeds.ask(
                actor=actor, kind=kind, keys=keys, words=in_words(source, asked, within),
                at=timezone.now(), **form.chosen,
            )  # fmt: skip
            return redirect("batch", key=row.key)
    except Refused as refusal:
        problem = refusal.sentence
    return render(
        request, "batches/new.html",
        {
            "words": in_words(source, asked, within),
            "count": len(keys),
            "all_count": rows.order_by().count(),
            "most": deeds.MOST,
            "kept": deeds.KEPT.days,
            "problem": problem,
            "form": form,
            "back": reverse(source.page) + query(request),
            "here": request.get_full_path(),
            "crumbs": [*CRUMBS, ("Ask for a file", "")],
        },
        status=422 if request.method == "POST" else 200,
    )  # fmt: skip


def query(request: HttpRequest) -> str:
    return f"?{urlencode(request.GET, doseq=True)}" if request.GET else ""


def in_words(source: Source, asked: Wanted, within: Within | None) -> str:
    """What the list was narrowed to: “Proportioning tests: at Site 1; Limits: lean”."""
    said = [f"at {within.text}"] if within else []
    for one in source.narrows:
        if one.name in asked.narrow:
            said.append(f"{one.label}: {dict(one.choices)[asked.narrow[one.name]]}")
    if asked.find:
        said.append(f"with “{asked.find}”")
    return f"{source.title}: {'; '.join(said)}" if said else f"{source.title}: all"


@signed_in
@require_GET
def batch(request: HttpRequest, key: UUID) -> HttpResponse:
    row = deeds.batch(actor_of(request), key)
    context = {
        "row": row,
        "asked_at": instant(row.asked_at),
        "ended_at": instant(row.ended_at),
        "until": day(row.expires_at),
        "failures": deeds.failures(row),
        "crumbs": [*CRUMBS, (row.words, "")],
    }
    return render(request, "batches/batch.html", context)


@signed_in
@require_POST
def batch_cancel(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    if deeds.cancel(actor=actor, row=deeds.batch(actor, key), at=timezone.now()):
        messages.success(request, "Cancelled. Reports that were made already stay with their "
                         "records.")  # fmt: skip
    return redirect("batch", key=key)


@signed_in
@require_POST
def batch_again(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = deeds.ask_again(actor=actor, row=deeds.batch(actor, key), at=timezone.now())
    return redirect("batch", key=row.key)


@signed_in
@require_GET
def batch_file(request: HttpRequest, key: UUID) -> HttpResponseBase:
    """The file, to be saved, if all in it may still be seen. One that is not there sends back to
    its page, which says why."""
    actor = actor_of(request)
    row = deeds.batch(actor, key)
    if row.state != "ready":
        return redirect("batch", key=key)
    deeds.require_yours(actor, row)
    name = f"reports-{row.asked_at.date().isoformat()}.zip"
    return served(row.file, "application/zip", name, saved=True, cache="private, no-store")


urls: list[URLPattern] = [
    path("batches/", batches, name="batches"),
    path("batches/new/<slug:kind>/", batch_new, name="batch_new"),
    path("batches/<uuid:key>/", batch, name="batch"),
    path("batches/<uuid:key>/cancel/", batch_cancel, name="batch_cancel"),
    path("batches/<uuid:key>/again/", batch_again, name="batch_again"),
    path("batches/<uuid:key>/file/", batch_file, name="batch_file"),
]
