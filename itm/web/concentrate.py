"""Concentrate: tanks, what was filled into them and when, and the lots it came from."""

from itertools import pairwise
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from itm.accounts.actor import require_kind
from itm.actions.add_tank import add_tank
from itm.actions.change_tank import change_tank
from itm.core.conversions import like, quantity
from itm.core.figures import day
from itm.records import check_queries
from itm.registry import queries, queries_equipment, queries_stores, retiring, services
from itm.registry.access import works_at
from itm.registry.changing_over import may_change_over
from itm.registry.contents import Contents, Part, amount, as_of, ledger
from itm.registry.forms import LotForm, TankForm
from itm.registry.oddities import odd
from itm.web.attached import attached
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.holding import book, brief, day_asked, now_in, shown, there, warnings
from itm.web.listing import (
    Cell,
    Column,
    List,
    Narrow,
    Step,
    beside,
    show,
    wanted,
    within_site,
)
from itm.web.lot_ranges import shown_ranges
from itm.web.sites import crumbs_to
from itm.web.wrong import wrong_at

TANKS = Narrow("kind", "Type", queries.TANK_KINDS)
LOTS = Narrow("kind", "Type", queries.LOT_KINDS)
PFAS = Narrow("pfas", "PFAS", queries.PFAS)


@signed_in
@require_GET
def tanks(request: HttpRequest) -> HttpResponse:
    actor, (_, within) = actor_of(request), within_site(request)
    asked = wanted(request, (TANKS,), within)

    def cells(tank: queries.Tank) -> tuple[Cell, ...]:
        return (
            Cell(tank.tag, reverse("tank", args=[tank.key])),
            Cell(tank.site.name, reverse("site", args=[tank.site.key])),
            Cell(tank.get_kind_display()),
            Cell(quantity(tank.usable_volume_typed), number=True),
            Cell(brief(tank, now_in(tank))),
        )

    listed = List(
        title="Tanks",
        lead="Concentrate tanks over all sites that are yours to see.",
        columns=(
            Column("Tag", "tag"),
            Column("Site", "site"),
            Column("Type", "kind"),
            Column("Usable volume", "usable_volume", number=True),
            Column("Holds"),
        ),
        cells=cells,
        empty="No tank yet. A tank is added on the page of its site.",
        beside=beside("tanks"),
        narrows=(TANKS,),
        within=within,
    )
    return show(request, listed, queries.tanks(actor, asked), asked)


@signed_in
@require_GET
def tank(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.tank(actor, key)
    movements = queries.movements_of(actor, row)
    lines = ledger(row, movements)
    form, on = day_asked(request.GET, site_date(row.site.time_zone))
    mine = queries.may_change(actor, row)
    context = {
        "tank": row,
        "odd": odd(row),
        "wrong": wrong_at(actor, row),
        "attached": attached(actor, row),
        "mine": mine,
        "retires": retiring.may_retire(actor, row),
        "writes": mine and row.retired_on is None,
        "form": form,
        "on": on,
        "holds": shown(row, as_of(lines, on)),
        "to_change": bool(lines) and may_change_over(lines[-1].holds),
        "book": book(row, lines),
        "withdrawn": [m for m in movements if m.withdrawn_at is not None],
        "devices": queries.fed_by(actor, row),
        "equipment": queries_equipment.equipment_of(actor, row),
        "moves": queries_equipment.moves_of(actor, row),
        "checks": check_queries.checks_of(actor, row),
        "may_check": row.retired_on is None and works_at(actor, row.site),
        "crumbs": [*crumbs_to(row.site), (row.tag, "")],
    }
    return render(request, "registry/tank.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def tank_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = queries.site(actor, key)
    services.require_own(actor, site, "add a tank")
    services.require_in_use(site, "site")
    form = TankForm(request.POST, site=site)
    return edit(
        request, form=form,
        write=lambda: add_tank(actor=actor, site=site, **form.values),
        to=lambda row: reverse("tank", args=[row.key]),
        title="Add a tank", save="Add the tank", said="{} stands on the site. Note what is in it.",
        back=reverse("site", args=[key]), crumbs=crumbs_to(site),
    )  # fmt: skip


def crumbs_to_tank(tank: queries.Tank) -> Crumbs:
    return [*crumbs_to(tank.site), (tank.tag, reverse("tank", args=[tank.key]))]


@signed_in
@require_http_methods(["GET", "POST"])
def tank_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.tank(actor, key)
    services.require_own(actor, row, "change a tank")
    form = TankForm(request.POST, row=row)
    return edit(
        request, form=form,
        write=lambda: change_tank(actor=actor, tank=row, **form.values),
        to=lambda row: reverse("tank", args=[row.key]),
        title=f"Change {row}", back=reverse("tank", args=[key]), crumbs=crumbs_to_tank(row),
    )  # fmt: skip


@signed_in
@require_GET
def lots(request: HttpRequest) -> HttpResponse:
    actor, asked = actor_of(request), wanted(request, (LOTS, PFAS))
    owner = actor.kind == "owner"
    listed = List(
        title="Concentrate lots",
        lead="One batch as delivered. A lot goes into a tank by a fill, noted on the tank's page.",
        columns=(
            Column("Product", "product"),
            Column("Batch", "batch"),
            Column("Type", "kind"),
            Column("Nominal, %", "nominal_percent", number=True),
            Column("PFAS", "pfas"),
            Column("Expires", "expires_on", number=True),
        ),
        cells=lambda lot: (
            Cell(lot.product, reverse("lot", args=[lot.key])),
            Cell(lot.batch),
            Cell(lot.get_kind_display()),
            Cell(f"{lot.nominal_percent.normalize():f}", number=True),
            Cell(lot.get_pfas_display()),
            Cell(day(lot.expires_on), number=True),
        ),
        empty="No lot yet. A lot is one batch of concentrate with the baseline of its certificate."
        if owner
        else "No lot stands in a tank that is yours to see.",
        step=Step("Add a lot", reverse("lot_new")) if owner else None,
        retirable=False,
        beside=beside("lots"),
        narrows=(LOTS, PFAS),
    )
    return show(request, listed, queries.lots(actor, asked), asked)


@signed_in
@require_GET
def lot(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.lot(actor, key)
    context = {
        "lot": row,
        "odd": odd(row),
        "ranges": shown_ranges(row),
        "nominal": f"{row.nominal_percent.normalize():f}",
        "mine": queries.may_change(actor, row),
        "attached": attached(actor, row),
        "tanks": [_with_lot(tank, row) for tank in queries.tanks_with(actor, row)],
        "stores": [_store_with(store) for store in queries_stores.stores_with(actor, row)],
        "crumbs": [("Lots", reverse("lots")), (str(row), "")],
    }
    return render(request, "registry/lot.html", context)


def _store_with(store: queries_stores.Store) -> dict[str, Any]:
    """What came into the store, what is left, and how the rest went."""
    movements = list(store.movements.all())
    gone = [one for one in movements if one.kind == "disposal"]
    return {
        "store": store,
        "receipts": [(day(one.moved_on), one.volume_typed) for one in movements if one.goes_in],
        "left": there(store),
        "gone": [(day(one.moved_on), one.volume_typed, one.paper) for one in gone],
    }


def _with_lot(tank: queries.Tank, lot: queries.ConcentrateLot) -> dict[str, Any]:
    """How much of the lot went into a tank, what of it is there by the book, and until when."""
    lines = ledger(tank, tank.movements.all())
    fills = [line.movement for line in lines if line.movement.lot_id == lot.pk]
    held = [(line, _share(line.holds, lot)) for line in lines]
    left = held[-1][1]
    gone = [line for (_, before), (line, after) in pairwise(held) if before and not after]
    return {
        "tank": tank,
        "fills": [(day(fill.moved_on), quantity(fill.volume_typed)) for fill in fills],
        "left": amount(left.volume, like(tank.capacity_typed)) if left else "",
        "share": f"{100 * left.share:.1f}" if left else "",
        "gone": "" if left or not gone else day(gone[-1].movement.moved_on),
        "warnings": warnings(lines[-1].holds) if left else [],
    }


def _share(held: Contents, lot: queries.ConcentrateLot) -> Part | None:
    return next((part for part in held.parts if part.lot.pk == lot.pk), None)


@signed_in
@require_http_methods(["GET", "POST"])
def lot_new(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    require_kind(actor, "owner", what="add a lot")
    form = LotForm(request.POST, owner=actor.organisation)
    return edit(
        request, form=form, wide=True,
        write=lambda: services.add_lot(actor=actor, **form.values),
        to=lambda row: reverse("lot", args=[row.key]),
        title="Add a lot", save="Add the lot", said="{} is in your list.",
        back=reverse("lots"), crumbs=[("Lots", reverse("lots"))],
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def lot_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.lot(actor, key)
    services.require_own(actor, row, "change a lot")
    form = LotForm(request.POST, row=row)
    there = reverse("lot", args=[key])
    return edit(
        request, form=form, wide=True,
        write=lambda: services.change_lot(actor=actor, lot=row, **form.values),
        to=lambda _: there,
        title=f"Change {row}", back=there,
        crumbs=[("Lots", reverse("lots")), (str(row), there)],
    )  # fmt: skip


urls: list[URLPattern] = [
    path("tanks/", tanks, name="tanks"),
    path("sites/<uuid:key>/tanks/new/", tank_new, name="tank_new"),
    path("tanks/<uuid:key>/", tank, name="tank"),
    path("tanks/<uuid:key>/edit/", tank_edit, name="tank_edit"),
    path("lots/", lots, name="lots"),
    path("lots/new/", lot_new, name="lot_new"),
    path("lots/<uuid:key>/", lot, name="lot"),
    path("lots/<uuid:key>/edit/", lot_edit, name="lot_edit"),
]
