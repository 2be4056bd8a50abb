"""Sites: the list, the page of one site, who oversees it and who is engaged there."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import require_kind
from itm.actions.change_site import change_site
from itm.actions.oversee import end_oversight, name_authority, take_naming_back
from itm.archives.services import may_keep
from itm.core.figures import day
from itm.findings import visiting
from itm.findings.queries import open_orders
from itm.records import queries as records
from itm.registry import (
    overseeing,
    queries,
    queries_attachments,
    queries_equipment,
    queries_stores,
    retiring,
    services,
)
from itm.registry.forms import AuthorityForm, EndForm, EngageForm, LetGoForm, SiteForm
from itm.trends.devices import DeviceRow, device_rows
from itm.web.attached import attached
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.holding import brief, now_in, there
from itm.web.listing import Cell, Column, List, Step, beside, show, wanted
from itm.web.wrong import wrong_at

VISITS = 10  # the latest on a site's page; the visits' own list has them all
LEADS = {
    "owner": "Your sites. What is on a site, and what is due there, stands on its page.",
    "contractor": "Sites where your organisation is engaged today.",
    "authority": "Sites in your jurisdiction.",
}
EMPTY = {
    "owner": "No site yet. A site holds foam systems, tanks and everything tested there.",
    "contractor": "No owner has your organisation engaged today. The owner of a site does that on "
    "the site's own page.",
    "authority": "No owner has named your authority for a site yet. The owner does that on the "
    "site's own page.",
}


def crumbs_to(site: Any) -> Crumbs:
    return [("Sites", reverse("sites")), (site.name, reverse("site", args=[site.key]))]


@signed_in
@require_GET
def sites(request: HttpRequest) -> HttpResponse:
    actor, asked = actor_of(request), wanted(request)
    step = Step("Add a site", reverse("site_new")) if actor.kind == "owner" else None
    listed = List(
        title="Sites",
        lead=LEADS[actor.kind],
        columns=(
            Column("Site", "name"),
            Column("Owner", "owner"),
            Column("Country", "country"),
            Column("Systems in use", "systems", number=True),
        ),
        cells=lambda site: (
            Cell(site.name, reverse("site", args=[site.key])),
            Cell(site.owner.name),
            Cell(site.country),
            Cell(str(site.in_use), number=True),
        ),
        empty=EMPTY[actor.kind],
        step=step,
        beside=beside("sites"),
    )
    return show(request, listed, queries.sites(actor, asked), asked)


def with_devices(systems: list[queries.FoamSystem]) -> list[tuple[Any, list[DeviceRow]]]:
    """Each system with its proportioners in use, their latest results and what is due."""
    devices = [
        device
        for system in systems
        for device in system.proportioners.all()
        if device.retired_on is None
    ]
    rows = device_rows(devices, timezone.now(), with_wrong=False)
    return [
        (system, [row for row in rows if row.proportioner.system_id == system.pk])
        for system in systems
    ]


@signed_in
@require_GET
def site(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.site(actor, key)
    today = site_date(row.time_zone)
    systems = queries.systems_of(actor, row)
    context = {
        "site": row,
        "attached": attached(actor, row),
        "wrong": wrong_at(actor, row),
        "orders": open_orders(actor, row),
        "all_files": queries_attachments.attachment_count(actor, row),
        "today": day(today),
        "this_year": today.year,
        "mine": queries.may_change(actor, row),
        "retires": retiring.may_retire(actor, row),
        "archived": may_keep(actor, row),
        "systems": with_devices(systems),
        "visits": list(records.visits(actor).filter(site=row)[:VISITS]),
        "equipment": queries_equipment.equipment_counts(actor, row),
        "tanks": [(tank, brief(tank, now_in(tank))) for tank in queries.tanks_of(actor, row)],
        "stores": [(store, there(store)) for store in queries_stores.stores_of(actor, row)],
        "authorities": [
            (one, one.covers(today), one.named_on == today)
            for one in visiting.with_last_visit(actor, queries.authorities_of(actor, row))
        ],
        "grants": [
            (grant, queries.stands(grant, today)) for grant in queries.grants_of(actor, row)
        ],
        "crumbs": [("Sites", reverse("sites")), (row.name, "")],
    }
    return render(request, "registry/site.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def site_new(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    require_kind(actor, "owner", what="add a site")
    form = SiteForm(request.POST, owner=actor.organisation)
    return edit(
        request, form=form, zones=form.zones(),
        write=lambda: services.add_site(actor=actor, **form.values),
        to=lambda row: reverse("site", args=[row.key]),
        title="Add a site", save="Add the site", said="{} is in your list. Add its tanks and "
        "foam systems next.", back=reverse("sites"), crumbs=[("Sites", reverse("sites"))],
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def site_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.site(actor, key)
    services.require_own(actor, row, "change a site")
    form = SiteForm(request.POST, row=row)
    return edit(
        request, form=form, zones=form.zones(),
        write=lambda: change_site(actor=actor, site=row, **form.values),
        to=lambda row: reverse("site", args=[row.key]),
        title=f"Change {row}", back=reverse("site", args=[key]),
        crumbs=crumbs_to(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def site_authority_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.site(actor, key)
    services.require_keeper(actor, row, "name the authorities of a site")
    form = AuthorityForm(request.POST or None)
    return edit(
        request, form=form,
        write=lambda: name_authority(
            actor=actor, site=row, today=site_date(row.time_zone), **form.cleaned_data
        ),
        to=lambda _: reverse("site", args=[key]),
        title="Name an authority", save="Name it", said="{}: it can read what is handed over here.",
        lead="An authority reads the site, its systems, their sealed results and what is overdue, "
        "from now on. Today you can take the naming back; after that only the authority itself "
        "can say that it no longer looks after the site.",
        back=reverse("site", args=[key]), crumbs=crumbs_to(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def site_authority_end(request: HttpRequest, key: UUID) -> HttpResponse:
    """The authority lets go of the site."""
    actor = actor_of(request)
    row = queries.site_authority(actor, key)
    overseeing.require_itself(actor, row)
    today = site_date(row.site.time_zone)
    form = LetGoForm(request.POST or None, initial={"ended_on": row.ended_on or today})
    there = reverse("site", args=[row.site.key])
    return edit(
        request, form=form,
        write=lambda: end_oversight(actor=actor, row=row, **form.cleaned_data),
        to=lambda _: there if row.covers(today) else reverse("sites"),
        title=f"No longer look after {row.get_scope_display().lower()} at {row.site}",
        save="Set the last day", said="The last day is set: {}.",
        lead="After that day your authority no longer sees the site, and its programme is asked "
        "for there no more. Records stay with the site. Up to that day you can take this back; "
        "later the owner has to name you again.",
        back=there, crumbs=crumbs_to(row.site),
    )  # fmt: skip


@signed_in
@require_POST
def site_authority_go_on(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.site_authority(actor, key)
    end_oversight(actor=actor, row=row, ended_on=None)
    messages.success(request, f"Goes on without a last day: {row}.")
    return redirect("site", row.site.key)


@signed_in
@require_POST
def site_authority_take_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.site_authority(actor, key)
    take_naming_back(actor=actor, row=row, today=site_date(row.site.time_zone))
    messages.success(request, f"Taken back: {row.organisation} does not see this site.")
    return redirect("site", row.site.key)


@signed_in
@require_http_methods(["GET", "POST"])
def grant_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.site(actor, key)
    services.require_keeper(actor, row, "engage a contractor")
    form = EngageForm(request.POST or None, initial={"starts_on": site_date(row.time_zone)})
    return edit(
        request, form=form,
        write=lambda: services.engage(actor=actor, site=row, **form.cleaned_data),
        to=lambda _: reverse("site", args=[key]),
        title="Engage a contractor", save="Engage", said="Engaged: {}.",
        lead="The contractor sees this site and may test here from the first to the last day.",
        back=reverse("site", args=[key]), crumbs=crumbs_to(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def grant_end(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    grant = queries.grant(actor, key)
    services.require_keeper(actor, grant, "change or end an engagement")
    last = grant.ends_on or max(site_date(grant.site.time_zone), grant.starts_on)
    form = EndForm(request.POST or None, initial={"ends_on": last})
    there = reverse("site", args=[grant.site.key])
    return edit(
        request, form=form,
        write=lambda: services.end_engagement(actor=actor, grant=grant, **form.cleaned_data),
        to=lambda _: there,
        title=f"End the engagement of {grant.organisation}", save="Set the last day",
        said="The last day is set: {}.",
        lead="What the contractor handed in stays with the site; the contractor keeps reading its "
        "own records.",
        back=there, crumbs=crumbs_to(grant.site),
    )  # fmt: skip


@signed_in
@require_POST
def grant_go_on(request: HttpRequest, key: UUID) -> HttpResponse:
    """Takes the last day back."""
    actor = actor_of(request)
    grant = queries.grant(actor, key)
    services.end_engagement(actor=actor, grant=grant, ends_on=None)
    messages.success(request, f"Goes on without a last day: {grant}.")
    return redirect("site", grant.site.key)


urls: list[URLPattern] = [
    path("sites/", sites, name="sites"),
    path("sites/new/", site_new, name="site_new"),
    path("sites/<uuid:key>/", site, name="site"),
    path("sites/<uuid:key>/edit/", site_edit, name="site_edit"),
    path("sites/<uuid:key>/authorities/new/", site_authority_new, name="site_authority_new"),
    path("authorities/<uuid:key>/end/", site_authority_end, name="site_authority_end"),
    path("authorities/<uuid:key>/go-on/", site_authority_go_on, name="site_authority_go_on"),
    path(
        "authorities/<uuid:key>/take-back/",
        site_authority_take_back,
        name="site_authority_take_back",
    ),
    path("sites/<uuid:key>/engagements/new/", grant_new, name="grant_new"),
    path("engagements/<uuid:key>/end/", grant_end, name="grant_end"),
    path("engagements/<uuid:key>/go-on/", grant_go_on, name="grant_go_on"),
]
