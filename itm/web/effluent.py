"""What came out at a test day or by itself, where it went, and what does not add up."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.core.errors import NotFound
from itm.core.figures import day
from itm.records import effluent, queries
from itm.records.cautions import EFFLUENT
from itm.records.effluent import Kind
from itm.records.effluent_forms import TITLES, EffluentForm
from itm.registry import queries as registry
from itm.registry.contents import rinse_words
from itm.registry.forms import WithdrawForm
from itm.web.editing import edit, site_date
from itm.web.effluent_told import HEAD, sure, table_row, told
from itm.web.guard import actor_of, signed_in
from itm.web.sites import crumbs_to
from itm.web.tables import table_answer, table_paths


@signed_in
@require_GET
def site_effluent(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    lines = effluent.lines_at(actor, site)
    context = {
        "site": site,
        "occasions": [
            {
                "visit": one.visit,
                "name": f"Test day of {day(one.visit.planned_on)}" if one.visit else
                "On no test day",
                "lines": one.lines,
                "told": told(one.balance),
                "notes": effluent.may_note(actor, site, one.visit),
            }
            for one in effluent.occasions(lines)
        ],
        "whole": told(effluent.balance(lines)) if lines else None,
        "rinsed": [(row, rinse_words(row)) for row in registry.rinsed_at(actor, site)],
        "writes": effluent.may_note(actor, site),
        "kinds": [(kind.value, TITLES[kind]) for kind in Kind],
        "caution": EFFLUENT,
        "crumbs": [*crumbs_to(site), ("Effluent", "")],
    }  # fmt: skip
    return render(request, "effluent/site.html", context)


@signed_in
@require_GET
def effluent_table(request: HttpRequest, key: UUID, form: str) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    rows = [table_row(one) for one in effluent.lines_at(actor, site)]
    return table_answer(f"effluent-{site.key}", form, HEAD, rows)


@signed_in
@require_http_methods(["GET", "POST"])
def effluent_new(request: HttpRequest, key: UUID, kind: str) -> HttpResponse:
    """On the test day that the address names by `visit`, or on none."""
    actor = actor_of(request)
    site = registry.site(actor, key)
    if kind not in Kind.values:
        raise NotFound("kind of effluent", kind)
    asked = request.GET.get("visit", "")
    visit = queries.visit_at(actor, site, key_of(asked)) if asked else None
    effluent.require_note(actor, site, visit)
    today = site_date(site.time_zone)
    form = EffluentForm(
        request.POST, kind=kind, site=site, visit=visit, organisation=actor.organisation
    )
    form.initial.update({"happened_on": visit.planned_on if visit else today})
    lead = "On no test day: a discharge by itself, or what came of one."
    if visit is not None:
        form.initial["pfas"] = effluent.pfas_of(visit, visit.planned_on)
        lead = f"{visit}. {sure(effluent.at_least(actor, visit)) if kind == 'discharged' else ''}"
    there = back(site, visit)
    return edit(
        request, form=form, title=TITLES[Kind(kind)], save="Note it", said="Noted: {}.",
        write=lambda: effluent.note(
            actor=actor, site=site, visit=visit, today=today, kind=kind, **form.values
        ),
        lead=lead.strip(), caution=EFFLUENT, to=lambda _: there, back=there,
        crumbs=[*crumbs_to(site), ("Effluent", reverse("site_effluent", args=[key]))],
    )  # fmt: skip


def key_of(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError as error:
        raise NotFound("visit", text) from error


def back(site: Any, visit: Any) -> str:
    if visit is not None:
        return reverse("visit", args=[visit.key])
    return reverse("site_effluent", args=[site.key])


@signed_in
@require_http_methods(["GET", "POST"])
def effluent_correct(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = effluent.line(actor, key)
    effluent.require_note(actor, row.site, row.visit)
    form = EffluentForm(request.POST, kind=row.kind, row=row)
    there = reverse("site_effluent", args=[row.site.key])
    return edit(
        request, form=form, title="Put it right", said="Noted instead: {}.",
        write=lambda: effluent.correct(
            actor=actor, line=row, today=site_date(row.site.time_zone), at=timezone.now(),
            **form.values,
        ),
        lead=f"{row}, {day(row.happened_on)}. The right one takes its place; this one stays to be "
        "read with the reason.",
        to=lambda _: there, back=there,
        crumbs=[*crumbs_to(row.site), ("Effluent", there)],
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def effluent_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = effluent.line(actor, key)
    effluent.require_note(actor, row.site, row.visit)
    form = WithdrawForm(request.POST or None)
    there = reverse("site_effluent", args=[row.site.key])
    return edit(
        request, form=form, title="Withdraw it", save="Withdraw", said="Withdrawn: {}.",
        write=lambda: effluent.withdraw(
            actor=actor, line=row, at=timezone.now(), **form.cleaned_data
        ),
        lead=f"{row}, {day(row.happened_on)}. It counts for nothing from now on and stays to be "
        "read with the reason.",
        to=lambda _: there, back=there,
        crumbs=[*crumbs_to(row.site), ("Effluent", there)],
    )  # fmt: skip


urls: list[URLPattern] = [
    path("sites/<uuid:key>/effluent/", site_effluent, name="site_effluent"),
    *table_paths("sites/<uuid:key>/effluent/table", effluent_table, "effluent"),
    path("sites/<uuid:key>/effluent/<slug:kind>/", effluent_new, name="effluent_new"),
    path("effluent/<uuid:key>/correct/", effluent_correct, name="effluent_correct"),
    path("effluent/<uuid:key>/withdraw/", effluent_withdraw, name="effluent_withdraw"),
]
