"""What happened at a site: noted, withdrawn, and the tasks that it brings on."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.actions.note_happening import note_happening, withdraw_happening
from itm.registry import queries as registry
from itm.schedule import happening as happenings
from itm.schedule.forms import HappeningForm
from itm.web.editing import site_date
from itm.web.guard import actor_of, signed_in
from itm.web.sites import crumbs_to
from itm.web.weighing import effect, weigh


@signed_in
@require_GET
def site_happenings(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    context = {
        "site": site,
        "happenings": happenings.happenings_at(actor, site),
        "may_note": actor.kind != "authority" and site.retired_on is None,
        "crumbs": [*crumbs_to(site), ("What happened", "")],
    }
    return render(request, "programmes/happenings.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def happening_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    happenings.require_witness(actor, site)
    today = site_date(site.time_zone)
    form = HappeningForm(request.POST or None, site=site, initial={"happened_on": today})
    there = reverse("site_happenings", args=[key])
    return weigh(
        request, form=form, to=lambda _: there, back=there,
        write=lambda: note_happening(actor=actor, site=site, today=today, **form.cleaned_data),
        said=lambda given: [f"{given[0]}.", *effect(given[1])],
        title="Note what happened", save="Note it",
        lead="A discharge, a repair or a survey brings tasks on where a programme asks for them. "
        "Flow tests, fills and new lots are known from their own records. Where foam was "
        "discharged, local rules may ask for a report.",
        crumbs=[*crumbs_to(site), ("What happened", there)],
    )  # fmt: skip


@signed_in
@require_POST
def happening_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row: Any = happenings.happening(actor, key)
    _, made = withdraw_happening(actor=actor, happening=row, today=site_date(row.site.time_zone))
    messages.success(request, " ".join([f"Withdrawn: {row}.", *effect(made)]))
    return redirect("site_happenings", row.site.key)


urls: list[URLPattern] = [
    path("sites/<uuid:key>/happenings/", site_happenings, name="site_happenings"),
    path("sites/<uuid:key>/happenings/new/", happening_new, name="happening_new"),
    path("happenings/<uuid:key>/withdraw/", happening_withdraw, name="happening_withdraw"),
]
