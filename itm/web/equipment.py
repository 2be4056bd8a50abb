"""Equipment: the list over all sites, one thing, and adding and changing it."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from itm.actions.add_equipment import add_equipment
from itm.actions.change_equipment import change_equipment
from itm.core.errors import NotFound
from itm.registry import queries, queries_equipment, retiring, services
from itm.registry.forms import EquipmentForm
from itm.web.attached import attached
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Step, beside, show, wanted, within_site
from itm.web.sites import crumbs_to
from itm.web.wrong import wrong_at

KINDS = Narrow("kind", "Kind", queries_equipment.EQUIPMENT_KINDS)
FORM = "registry/equipment_form.html"


def crumbs_at(row: Any) -> Crumbs:
    """To the system or tank where it stands; at the site alone, to the site."""
    at = row.stands_at
    crumbs = crumbs_to(row.site)
    if row.system is not None or row.tank is not None:
        name = "system" if row.system is not None else "tank"
        crumbs.append((str(at), reverse(name, args=[at.key])))
    return crumbs


@signed_in
@require_GET
def equipment_list(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    site, within = within_site(request)
    step = None
    if site is not None and queries.may_change(actor, site) and site.retired_on is None:
        step = Step("Add equipment", reverse("equipment_new", args=[site.key]))
    asked = wanted(request, (KINDS,), within)
    listed = List(
        title="Equipment",
        lead="Valves, strainers, pumps, discharge devices and whatever else is inspected.",
        columns=(
            Column("Tag", "tag"),
            Column("What it is", "kind"),
            Column("Normally", "position"),
            Column("Stands at"),
            Column("Where", "place"),
            Column("Site", "site"),
        ),
        cells=lambda row: (
            Cell(row.tag, reverse("equipment", args=[row.key])),
            Cell(f"{row.name or row.what}{f', {row.pieces} pieces' if row.pieces > 1 else ''}"),
            Cell(row.position),
            Cell(str(row.stands_at)),
            Cell(row.place),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
        ),
        empty="No equipment yet. It is added on the page of its site, system or tank.",
        step=step,
        beside=beside("equipment_list"),
        narrows=(KINDS,),
        within=within,
    )
    return show(request, listed, queries_equipment.equipment_list(actor, asked), asked)


@signed_in
@require_GET
def equipment(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries_equipment.equipment(actor, key)
    context = {
        "equipment": row,
        "attached": attached(actor, row),
        "wrong": wrong_at(actor, row),
        "moves": queries_equipment.moves_of(actor, row),
        "mine": queries.may_change(actor, row),
        "retires": retiring.may_retire(actor, row),
        "crumbs": [*crumbs_at(row), (row.tag, "")],
    }
    return render(request, "registry/equipment.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def equipment_new(request: HttpRequest, key: UUID) -> HttpResponse:
    """At the place that the address names, or like another thing; a row at a time."""
    actor = actor_of(request)
    site = queries.site(actor, key)
    services.require_own(actor, site, "add equipment")
    services.require_in_use(site, "site")
    like = _like(request, site)
    form = EquipmentForm(request.POST, site=site, like=like, at=request.GET.get("at", ""))
    return edit(
        request, form=form, template=FORM, wide=True,
        write=lambda: add_equipment(
            actor=actor, site=site, today=site_date(site.time_zone), **form.values
        ),
        to=lambda row: reverse("equipment", args=[row.key]),
        title="Add equipment", save="Add it", said="{} is on the site.",
        lead=f"Filled in as {like} is; give it a tag of its own." if like else "",
        back=reverse("equipment", args=[like.key]) if like else reverse("site", args=[key]),
        crumbs=crumbs_to(site),
    )  # fmt: skip


def _like(request: HttpRequest, site: queries.Site) -> queries_equipment.Equipment | None:
    """Another thing of the site to start from; anything else in the address is passed over."""
    try:
        row = queries_equipment.equipment(actor_of(request), UUID(request.GET.get("like", "")))
    except (ValueError, NotFound):
        return None
    return row if row.site_id == site.pk else None


@signed_in
@require_http_methods(["GET", "POST"])
def equipment_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries_equipment.equipment(actor, key)
    services.require_own(actor, row, "change equipment")
    form = EquipmentForm(request.POST, row=row)
    there = reverse("equipment", args=[key])
    return edit(
        request, form=form, template=FORM, wide=True,
        write=lambda: change_equipment(
            actor=actor, equipment=row, today=site_date(row.site.time_zone), **form.values
        ),
        to=lambda _: there,
        title=f"Change {row}", back=there, crumbs=[*crumbs_at(row), (row.tag, there)],
    )  # fmt: skip


urls: list[URLPattern] = [
    path("equipment/", equipment_list, name="equipment_list"),
    path("sites/<uuid:key>/equipment/new/", equipment_new, name="equipment_new"),
    path("equipment/<uuid:key>/", equipment, name="equipment"),
    path("equipment/<uuid:key>/edit/", equipment_edit, name="equipment_edit"),
]
