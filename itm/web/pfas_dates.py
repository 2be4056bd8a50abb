"""Dates in the law on PFAS at a site, and who compared them with the text."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from itm.core.conversions import like
from itm.core.errors import Forbidden
from itm.registry import pfas_dates, queries, services
from itm.registry.contents import amount
from itm.registry.forms import PfasDateCheckForm, PfasPlacesForm
from itm.registry.inventory import inventory
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.holding import LITRES
from itm.web.sites import crumbs_to


def crumbs_here(site: Any) -> Crumbs:
    return [*crumbs_to(site), ("Dates for PFAS", reverse("pfas_dates", args=[site.key]))]


@signed_in
@require_GET
def site_dates(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    today = site_date(site.time_zone)
    dates = pfas_dates.dates_at(actor, site, today)
    context = {
        "site": site,
        "dates": dates,
        "unread": sum(one.open for one in dates),
        "places": [pfas_dates.places()[one] for one in site.pfas_places],
        "note": pfas_dates.note_of_file(),
        "mine": queries.may_change(actor, site) and site.retired_on is None,
        "checks": pfas_dates.may_check(actor, site),
        "totals": [
            (total.status, amount(total.volume, like(LITRES)))
            for stock in inventory(actor, today, site)
            for total in stock.totals()
            if total.volume
        ],
        "crumbs": [*crumbs_to(site), ("Dates for PFAS", "")],
    }
    return render(request, "registry/pfas_dates.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def places_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    services.require_own(actor, site, "say whose law on PFAS holds at a site")
    services.require_in_use(site, "site")
    # Nothing ticked is an answer too.
    given = request.POST if request.method == "POST" else None
    form = PfasPlacesForm(given, initial={"chosen": site.pfas_places})
    there = reverse("pfas_dates", args=[key])
    return edit(
        request, form=form, title="Whose law on PFAS holds here", said="Saved.",
        write=lambda: pfas_dates.set_places(
            actor=actor, site=site, chosen=form.cleaned_data["chosen"]
        ),
        lead="Only so that the right dates are shown. Which law holds, the law itself says.",
        to=lambda _: there, back=there, crumbs=crumbs_here(site),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def date_check(request: HttpRequest, key: UUID, code: str) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    row = pfas_dates.row_of(code)
    if not pfas_dates.may_check(actor, site):
        raise Forbidden("Only the owner or an authority of the site can say how law holds here.")
    form = PfasDateCheckForm(request.POST or None)
    there = reverse("pfas_dates", args=[key])
    return edit(
        request, form=form, title="Compared with the text", save="Note it", said="Noted: {}.",
        write=lambda: pfas_dates.note_check(
            actor=actor, site=site, code=code, today=site_date(site.time_zone), **form.cleaned_data
        ),
        lead=f"{row.words} {row.source}: {row.confidence}.",
        to=lambda _: there, back=there, crumbs=crumbs_here(site),
    )  # fmt: skip


urls: list[URLPattern] = [
    path("sites/<uuid:key>/pfas-dates/", site_dates, name="pfas_dates"),
    path("sites/<uuid:key>/pfas-dates/places/", places_edit, name="pfas_places"),
    path("sites/<uuid:key>/pfas-dates/<slug:code>/", date_check, name="pfas_date_check"),
]
