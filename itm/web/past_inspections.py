"""Inspections of past years as lists report them: by whom and when they were brought in stands with
each, so that none looks like one that was entered on the day."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from itm.core.figures import day, instant
from itm.records import past, past_queries
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, beside, show, wanted, within_site
from itm.web.past import withdrawal_page

TITLE = "Past inspections"


@signed_in
@require_GET
def past_inspections(request: HttpRequest) -> HttpResponse:
    within = within_site(request)[1]
    asked = wanted(request, (), within)
    listed = List(
        title=TITLE,
        lead="As older lists and papers report them. Nobody entered them here on the day; who "
        "brought them in, and when, stands with each.",
        columns=(
            Column("Done on", "day"),
            Column("Site", "site"),
            Column("On"),
            Column("Task", "task"),
            Column("Outcome as reported"),
            Column("Done by", "person"),
            Column("Brought in"),
        ),
        cells=lambda row: (
            Cell(day(row.done_on), reverse("past_inspection", args=[row.key])),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(row.place),
            Cell(row.task),
            Cell(row.get_outcome_display()),
            Cell(row.done_by),
            Cell(f"{day(row.bundle.noted_at.date())}, {row.bundle.noted_by}"),
        ),
        empty="No past inspection yet. They come in from a table, by the owner of the site or a "
        "contractor engaged there.",
        retirable=False,
        beside=beside("past_inspections"),
        within=within,
    )
    return show(request, listed, past_queries.inspections(actor_of(request), asked), asked)


def _crumbs(row: Any) -> list[tuple[str, str]]:
    return [
        (TITLE, reverse("past_inspections")),
        (row.site.name, reverse("site", args=[row.site.key])),
        (day(row.done_on), ""),
    ]


@signed_in
@require_GET
def past_inspection(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = past.inspection(actor, key)
    context = {
        "row": row,
        "brought": instant(row.bundle.noted_at),
        "withdrawal": getattr(row, "withdrawal", None),
        "may_withdraw": past.may_withdraw(actor, row),
        "crumbs": _crumbs(row),
    }
    return render(request, "past/inspection.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def past_inspection_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    row = past.inspection(actor_of(request), key)
    return withdrawal_page(
        request, row, there=reverse("past_inspection", args=[key]), crumbs=_crumbs(row),
        title=f"Withdraw the inspection of {day(row.done_on)}",
    )  # fmt: skip


urls: list[URLPattern] = [
    path("past-inspections/", past_inspections, name="past_inspections"),
    path("past-inspections/<uuid:key>/", past_inspection, name="past_inspection"),
    path(
        "past-inspections/<uuid:key>/withdraw/",
        past_inspection_withdraw,
        name="past_inspection_withdraw",
    ),
]
