"""What older papers report of concentrate: always marked as that, never as checks of ours."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from itm.core.figures import day
from itm.records import past, past_queries
from itm.registry import queries
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Within, beside, show, wanted, within_site
from itm.web.past import withdrawal_page

TITLE = "Past concentrate checks"


@signed_in
@require_GET
def past_checks(request: HttpRequest) -> HttpResponse:
    within = _within(request)
    asked = wanted(request, (), within)
    listed = List(
        title=TITLE,
        lead="As older papers report them. Nothing here was computed or sealed by this record.",
        columns=(
            Column("Sampled on", "sampled_on"),
            Column("Site", "site"),
            Column("Tank", "tank"),
            Column("Property", "property"),
            Column("As reported", number=True),
            Column("Limits as reported", number=True),
            Column("Outcome in its words"),
            Column("Paper"),
        ),
        cells=lambda row: (
            Cell(day(row.sampled_on), reverse("past_check", args=[row.key])),
            Cell(row.tank.site.name),
            Cell(row.tank.tag, reverse("tank_history", args=[row.tank.key])),
            Cell(row.what),
            Cell(row.value_typed, number=True),
            Cell(row.limits_words, number=True),
            Cell(row.outcome),
            Cell(", ".join(filter(None, (row.laboratory, row.paper)))),
        ),
        empty="No past concentrate check yet. They come in from a table, by the owner of the site "
        "or a contractor engaged there.",
        retirable=False,
        beside=beside("past_checks"),
        within=within,
    )
    return show(request, listed, past_queries.check_lines(actor_of(request), asked), asked)


def _within(request: HttpRequest) -> Within | None:
    """One tank, or one site, that a link narrowed to."""
    asked = request.GET.get("of", "")
    if not asked:
        return within_site(request)[1]
    try:
        tank = queries.tank(actor_of(request), UUID(asked))
    except ValueError:
        return None
    return Within("of", str(tank.key), tank.tag, reverse("tank", args=[tank.key]))


def _crumbs(row: Any) -> list[tuple[str, str]]:
    return [
        (TITLE, reverse("past_checks")),
        (row.tank.tag, reverse("tank", args=[row.tank.key])),
        (day(row.sampled_on), ""),
    ]


@signed_in
@require_GET
def past_check(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = past.check_line(actor, key)
    context = {
        "row": row,
        "tank": row.tank,
        "beside": past.beside(actor, row),
        "withdrawal": getattr(row, "withdrawal", None),
        "may_withdraw": past.may_withdraw(actor, row),
        "crumbs": _crumbs(row),
    }
    return render(request, "past/check.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def past_check_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    row = past.check_line(actor_of(request), key)
    return withdrawal_page(
        request, row, there=reverse("past_check", args=[key]), crumbs=_crumbs(row),
        title=f"Withdraw a line of {day(row.sampled_on)}",
    )  # fmt: skip


urls: list[URLPattern] = [
    path("past-checks/", past_checks, name="past_checks"),
    path("past-checks/<uuid:key>/", past_check, name="past_check"),
    path("past-checks/<uuid:key>/withdraw/", past_check_withdraw, name="past_check_withdraw"),
]
