"""What older papers report of earlier tests: always marked as that, never as records of ours."""

from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.actions.withdraw_past import withdraw_past
from itm.core.figures import day
from itm.records import past, past_queries
from itm.registry import queries
from itm.registry.forms import Refusing
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Within, beside, show, wanted, within_site
from itm.web.trends import limits_reported


@signed_in
@require_GET
def past_results(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    within = _within(request)
    asked = wanted(request, (), within)
    listed = List(
        title="Results of past years",
        lead="As older papers report them. Nothing here was computed or sealed by this record.",
        columns=(
            Column("Tested on", "tested_on"),
            Column("Site", "site"),
            Column("Proportioner", "proportioner"),
            Column("Flow point"),
            Column("Percent as reported", "percent", number=True),
            Column("Limits as reported", number=True),
            Column("Paper"),
        ),
        cells=lambda row: (
            Cell(day(row.tested_on), reverse("past_result", args=[row.key])),
            Cell(row.proportioner.system.site.name),
            Cell(row.proportioner.tag, reverse("trend", args=[row.proportioner.key])),
            Cell(row.flow_point),
            Cell(row.percent_typed, number=True),
            Cell(limits_reported(row), number=True),
            Cell(row.paper),
        ),
        empty="No result of past years yet. They come in from a table, by the owner of the site or "
        "a contractor engaged there.",
        retirable=False,
        beside=beside("past_results"),
        within=within,
    )
    return show(request, listed, past_queries.listed(actor, asked), asked)


def _within(request: HttpRequest) -> Within | None:
    """One proportioner, or one site, that a link narrowed to."""
    asked = request.GET.get("of", "")
    if not asked:
        return within_site(request)[1]
    try:
        device = queries.proportioner(actor_of(request), UUID(asked))
    except ValueError:
        return None
    there = reverse("proportioner", args=[device.key])
    return Within("of", str(device.key), device.tag, there)


@signed_in
@require_GET
def past_result(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = past.result(actor, key)
    device = row.proportioner
    context = {
        "row": row,
        "device": device,
        "limits": limits_reported(row),
        "withdrawal": getattr(row, "withdrawal", None),
        "may_withdraw": past.may_withdraw(actor, row),
        "crumbs": [
            ("Results of past years", reverse("past_results")),
            (device.tag, reverse("proportioner", args=[device.key])),
            (day(row.tested_on), ""),
        ],
    }
    return render(request, "past/result.html", context)


class WithdrawForm(Refusing, forms.Form):
    reason = forms.CharField(label="Why it does not count", max_length=200)


def withdrawal_page(
    request: HttpRequest, row: past.Line, *, there: str, title: str, crumbs: list[tuple[str, str]]
) -> HttpResponse:
    """Of one line of older papers, whatever it reports."""
    actor = actor_of(request)
    past.require_may_withdraw(actor, row)
    form = WithdrawForm(request.POST or None)

    def write() -> Any:
        return withdraw_past(
            actor=actor, line=row, reason=form.cleaned_data["reason"], at=timezone.now()
        )

    return edit(
        request, form=form, write=write, to=lambda _: there, back=there, said="Withdrawn.",
        title=title, save="Withdraw", crumbs=crumbs,
        lead="It stays readable with the reason, and counts no more. A right one comes in again "
        "from a table.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def past_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    row = past.result(actor_of(request), key)
    return withdrawal_page(
        request, row, there=reverse("past_result", args=[key]),
        title=f"Withdraw the result of {day(row.tested_on)}",
        crumbs=[("Results of past years", reverse("past_results"))],
    )  # fmt: skip


urls: list[URLPattern] = [
    path("past-results/", past_results, name="past_results"),
    path("past-results/<uuid:key>/", past_result, name="past_result"),
    path("past-results/<uuid:key>/withdraw/", past_withdraw, name="past_withdraw"),
]
