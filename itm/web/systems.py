"""Foam systems and their proportioners."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.actions.add_proportioner import add_proportioner
from itm.actions.change_proportioner import change_proportioner
from itm.actions.change_system import change_system
from itm.core.conversions import quantity
from itm.core.figures import day
from itm.registry import queries, queries_equipment, retiring, services
from itm.registry.changing_over import changeovers_of
from itm.registry.criteria import words_of
from itm.registry.forms import ProportionerForm, SystemForm, flow_point_rows
from itm.registry.oddities import odd
from itm.trends.devices import device_rows
from itm.web.attached import attached
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, beside, show, wanted, within_site
from itm.web.sites import crumbs_to
from itm.web.wrong import wrong_at

KIND = Narrow("kind", "Type", queries.SYSTEM_KINDS)
FUEL = Narrow("fuel", "Fuel", queries.FUELS)
TYPE = Narrow("kind", "Type", queries.PROPORTIONER_KINDS)
# A change of kind or tank asks for the list that fits; every name stands on the element itself.
FOLLOWED = {
    "hx-trigger": "change",
    "hx-include": "[name=kind], [name=tank], [name=restoration_order]",
    "hx-target": "#restoring",
    "hx-swap": "outerHTML",
}


def crumbs_to_system(system: Any) -> Crumbs:
    return [*crumbs_to(system.site), (system.name, reverse("system", args=[system.key]))]


@signed_in
@require_GET
def systems(request: HttpRequest) -> HttpResponse:
    actor, (_, within) = actor_of(request), within_site(request)
    asked = wanted(request, (KIND, FUEL), within)
    listed = List(
        title="Foam systems",
        lead="Over all sites that are yours to see.",
        columns=(
            Column("System", "name"),
            Column("Site", "site"),
            Column("Type", "kind"),
            Column("Fuel", "fuel"),
            Column("Design flow", "design_flow", number=True),
            Column("Commissioned", "commissioned_on", number=True),
        ),
        cells=lambda system: (
            Cell(system.name, reverse("system", args=[system.key])),
            Cell(system.site.name, reverse("site", args=[system.site.key])),
            Cell(system.get_kind_display()),
            Cell(system.get_fuel_display()),
            Cell(quantity(system.design_flow_typed), number=True),
            Cell(day(system.commissioned_on), number=True),
        ),
        empty="No foam system yet. A system is added on the page of its site.",
        beside=beside("systems"),
        narrows=(KIND, FUEL),
        within=within,
    )
    return show(request, listed, queries.systems(actor, asked), asked)


@signed_in
@require_GET
def system(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.system(actor, key)
    devices = queries.proportioners_of(actor, row)
    context = {
        "system": row,
        "odd": odd(row),
        "attached": attached(actor, row),
        "wrong": wrong_at(actor, row),
        "site": row.site,
        "limits": _limits(row),
        "grounds": words_of(row.criterion, row.criterion_source).grounds,
        "mine": queries.may_change(actor, row),
        "retires": retiring.may_retire(actor, row),
        "devices": device_rows(
            [d for d in devices if d.retired_on is None], timezone.now(), with_wrong=False
        ),
        "retired": [d for d in devices if d.retired_on is not None],
        "equipment": queries_equipment.equipment_of(actor, row),
        "changeovers": changeovers_of(actor, row),
        "moves": queries_equipment.moves_of(actor, row),
        "crumbs": [*crumbs_to(row.site), (row.name, "")],
    }
    return render(request, "registry/system.html", context)


def _limits(system: queries.FoamSystem) -> str:
    if system.custom_lower is None or system.custom_upper is None:
        return system.get_criterion_display()
    return f"{system.custom_lower.normalize():f} to {system.custom_upper.normalize():f} %"


@signed_in
@require_http_methods(["GET", "POST"])
def system_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    services.require_own(actor, site, "add a foam system")
    services.require_in_use(site, "site")
    form = SystemForm(request.POST, site=site)
    return edit(
        request, form=form,
        write=lambda: services.add_system(actor=actor, site=site, **form.values),
        to=lambda row: reverse("system", args=[row.key]),
        title="Add a foam system", save="Add the system", wide=True,
        said="{} is on the site. Add its proportioner next.",
        back=reverse("site", args=[key]), crumbs=crumbs_to(site),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def system_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.system(actor, key)
    services.require_own(actor, row, "change a foam system")
    form = SystemForm(request.POST, row=row)
    return edit(
        request, form=form,
        write=lambda: change_system(actor=actor, system=row, **form.values),
        to=lambda row: reverse("system", args=[row.key]),
        title=f"Change {row}", wide=True,
        back=reverse("system", args=[key]), crumbs=crumbs_to_system(row),
    )  # fmt: skip


@signed_in
@require_GET
def proportioners(request: HttpRequest) -> HttpResponse:
    actor, (_, within) = actor_of(request), within_site(request)
    asked = wanted(request, (TYPE,), within)
    listed = List(
        title="Proportioners",
        lead="Over all sites that are yours to see.",
        columns=(
            Column("Tag", "tag"),
            Column("System", "system"),
            Column("Site", "site"),
            Column("Type", "kind"),
            Column("Nominal, %", "nominal_percent", number=True),
            Column("Tank"),
        ),
        cells=lambda row: (
            Cell(row.tag, reverse("proportioner", args=[row.key])),
            Cell(row.system.name, reverse("system", args=[row.system.key])),
            Cell(row.system.site.name, reverse("site", args=[row.system.site.key])),
            Cell(row.get_kind_display()),
            Cell(f"{row.nominal_percent.normalize():f}", number=True),
            Cell(row.tank.tag, reverse("tank", args=[row.tank.key])),
        ),
        empty="No proportioner yet. A proportioner is added on the page of its system.",
        beside=beside("proportioners"),
        narrows=(TYPE,),
        within=within,
    )
    return show(request, listed, queries.proportioners(actor, asked), asked)


@signed_in
@require_GET
def proportioner(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.proportioner(actor, key)
    to_put_back, written = queries_equipment.lines_to_put_back(row)
    context = {
        "device": row,
        "odd": odd(row),
        "attached": attached(actor, row),
        "wrong": wrong_at(actor, row),
        "to_put_back": to_put_back,
        "moves": queries_equipment.moves_of(actor, row),
        "written": written,
        "nominal": f"{row.nominal_percent.normalize():f}",
        "mine": queries.may_change(actor, row),
        "retires": retiring.may_retire(actor, row),
        "points": queries.flow_points(row),
        "now": device_rows([row], timezone.now(), with_wrong=False)[0],
        "crumbs": [*crumbs_to_system(row.system), (row.tag, "")],
    }
    return render(request, "registry/proportioner.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def proportioner_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    system = queries.system(actor, key)
    services.require_own(actor, system, "add a proportioner")
    services.require_in_use(system, "system")
    if not queries.tanks_to_choose(system.site).exists():
        messages.warning(
            request, "A proportioner draws from a tank, and this site has none yet: add it first."
        )
        return redirect("tank_new", system.site.key)
    form = ProportionerForm(request.POST, system=system)
    if request.htmx and request.method == "GET":  # type: ignore[attr-defined]
        form.follow(request.GET)
        return render(request, "registry/parts/restoring.html", {"form": form})
    for name in ("kind", "tank"):
        form.fields[name].widget.attrs.update(FOLLOWED, **{"hx-get": request.path})
    today = site_date(system.site.time_zone)
    rows = flow_point_rows(form.instance, request.POST or None)
    return edit(
        request, form=form, rows=rows, ready=rows.is_valid, system=system,
        write=lambda: add_proportioner(
            actor=actor, system=system, flow_points=rows.point_rows(today),
            **form.values,
        ),
        to=lambda row: reverse("proportioner", args=[row.key]),
        title="Add a proportioner", save="Add the proportioner", said="{} is on the system.",
        template="registry/proportioner_form.html", back=reverse("system", args=[key]),
        crumbs=crumbs_to_system(system),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def proportioner_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.proportioner(actor, key)
    services.require_own(actor, row, "change a proportioner")
    form = ProportionerForm(request.POST, row=row)
    rows = flow_point_rows(row, request.POST or None)
    today = site_date(row.system.site.time_zone)
    return edit(
        request, form=form, rows=rows, ready=rows.is_valid, system=row.system,
        write=lambda: change_proportioner(
            actor=actor, proportioner=row, flow_points=rows.point_rows(today), at=timezone.now(),
            **form.values,
        ),
        to=lambda row: reverse("proportioner", args=[row.key]),
        title=f"Change {row}", template="registry/proportioner_form.html",
        back=reverse("proportioner", args=[key]),
        crumbs=[*crumbs_to_system(row.system), (row.tag, reverse("proportioner", args=[key]))],
    )  # fmt: skip


urls: list[URLPattern] = [
    path("systems/", systems, name="systems"),
    path("sites/<uuid:key>/systems/new/", system_new, name="system_new"),
    path("systems/<uuid:key>/", system, name="system"),
    path("systems/<uuid:key>/edit/", system_edit, name="system_edit"),
    path("proportioners/", proportioners, name="proportioners"),
    path("systems/<uuid:key>/proportioners/new/", proportioner_new, name="proportioner_new"),
    path("proportioners/<uuid:key>/", proportioner, name="proportioner"),
    path("proportioners/<uuid:key>/edit/", proportioner_edit, name="proportioner_edit"),
]
