"""Concentrate in store: what stands at a site and in no tank, and how it came and went."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.core.conversions import like
from itm.core.errors import NotFound
from itm.core.figures import day
from itm.records.cautions import TANK
from itm.registry import queries, queries_stores, services, storing
from itm.registry.contents import amount
from itm.registry.forms import ReceiptForm, StoreMovementForm, WithdrawForm
from itm.registry.queries_stores import Store, StoreMovement
from itm.registry.stored import store_book
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.holding import LITRES, there
from itm.web.listing import Cell, Column, List, Narrow, Step, beside, show, wanted, within_site
from itm.web.sites import crumbs_to

STANDING = Narrow("standing", "Stands as", queries_stores.STANDINGS)
# As it stands in the address: (kind, title, lead).
KINDS = {
    "receipt": ("receipt", "Note what came in", "More of the same lot, to the same store."),
    "use": (
        "use",
        "Note what was used",
        "For anything but a tank: what goes into a tank is noted there, and leaves the store with "
        "it.",
    ),
    "disposal": (
        "disposal",
        "Note what was taken away",
        "It leaves the site as waste, under a paper.",
    ),
}


@signed_in
@require_GET
def stores(request: HttpRequest) -> HttpResponse:
    actor, (site, within) = actor_of(request), within_site(request)
    asked = wanted(request, (STANDING,), within)
    step = None
    if site is not None and queries.may_change(actor, site) and site.retired_on is None:
        step = Step("Note what came into the store", reverse("store_new", args=[site.key]))
    listed = List(
        title="Concentrate in store",
        lead="Drums and totes that stand at a site and in no tank, over all sites that are yours "
        "to see.",
        columns=(
            Column("Lot", "lot"),
            Column("Site", "site"),
            Column("Stands as", "standing"),
            Column("Where", "place"),
            Column("There now", number=True),
        ),
        cells=lambda row: (
            Cell(str(row.lot), reverse("store", args=[row.key])),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(row.get_standing_display()),
            Cell(row.place),
            Cell(there(row), number=True),
        ),
        empty="Nothing is noted in store. What comes to a site in drums is noted on the page of "
        "the site.",
        step=step,
        retirable=False,
        beside=beside("stores"),
        narrows=(STANDING,),
        within=within,
    )
    return show(request, listed, queries_stores.stores(actor, asked), asked)


@signed_in
@require_GET
def store(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries_stores.store(actor, key)
    movements = queries_stores.store_movements_of(actor, row)
    lines = store_book(movements)
    context = {
        "store": row,
        "writes": queries.may_change(actor, row) and row.site.retired_on is None,
        "left": amount(lines[-1].left, like(LITRES)) if lines else "",
        "empty": not lines or lines[-1].left == 0,
        "book": [_line(movement, left) for movement, left in reversed(lines)],
        "withdrawn": [one for one in movements if one.withdrawn_at is not None],
        "crumbs": [*crumbs_to(row.site), (str(row), "")],
    }
    return render(request, "registry/store.html", context)


def _line(movement: StoreMovement, left: float) -> dict[str, Any]:
    notes = [movement.containers, movement.paper and f"paper {movement.paper}", movement.reason]
    return {
        "movement": movement,
        "day": day(movement.moved_on),
        "what": movement.get_kind_display(),
        "sign": "+" if movement.goes_in else "−",
        "left": amount(left, like(LITRES)),
        "note": "; ".join(filter(None, notes)),
    }


@signed_in
@require_http_methods(["GET", "POST"])
def store_new(request: HttpRequest, key: UUID) -> HttpResponse:
    """What came to the site, of whatever lot."""
    actor = actor_of(request)
    site = queries.site(actor, key)
    services.require_own(actor, site, "note what is in store")
    services.require_in_use(site, "site")
    form = ReceiptForm(request.POST, actor=actor)
    title = "Note what came into the store"
    return edit(
        request, form=form, title=title, save="Note it", said="Noted: {}.", caution=TANK,
        write=lambda: storing.receive(
            actor=actor, site=site, today=site_date(site.time_zone), **form.values
        ),
        to=lambda made: reverse("store", args=[made.store.key]),
        lead="Concentrate that stands at the site in drums or totes, as supply or as waste that "
        "waits to be taken away.",
        choose=queries.lots_to_choose(actor).exists(), template="registry/movement_form.html",
        back=reverse("site", args=[key]), crumbs=crumbs_to(site),
    )  # fmt: skip


def crumbs_to_store(row: Store) -> Crumbs:
    return [*crumbs_to(row.site), (str(row), reverse("store", args=[row.key]))]


@signed_in
@require_http_methods(["GET", "POST"])
def store_movement_new(request: HttpRequest, key: UUID, kind: str) -> HttpResponse:
    actor = actor_of(request)
    row = queries_stores.store(actor, key)
    if kind not in KINDS:
        raise NotFound("kind of movement", kind)
    what, title, lead = KINDS[kind]
    services.require_own(actor, row, "note what is in store")
    services.require_in_use(row.site, "site")
    form = StoreMovementForm(request.POST, kind=what, store=row)
    there = reverse("store", args=[key])
    return edit(
        request, form=form, title=title, save="Note it", said="Noted: {}.", lead=lead,
        write=lambda: storing.note(
            actor=actor, store=row, today=site_date(row.site.time_zone), kind=what, **form.values
        ),
        to=lambda _: there, back=there, crumbs=crumbs_to_store(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def store_movement_correct(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries_stores.store_movement(actor, key)
    services.require_own(actor, row, "put a movement right")
    form = StoreMovementForm(request.POST, kind=row.kind, row=row)
    there = reverse("store", args=[row.store.key])
    return edit(
        request, form=form, title="Put it right", said="Noted instead: {}.",
        write=lambda: storing.correct(
            actor=actor, movement=row, today=site_date(row.store.site.time_zone),
            at=timezone.now(), **form.values,
        ),
        lead=f"{row}, {day(row.moved_on)}. The right one takes its place; this one stays to be "
        "read with the reason.",
        to=lambda _: there, back=there, crumbs=crumbs_to_store(row.store),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def store_movement_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries_stores.store_movement(actor, key)
    services.require_own(actor, row, "withdraw a movement")
    form = WithdrawForm(request.POST or None)
    there = reverse("store", args=[row.store.key])
    return edit(
        request, form=form, title="Withdraw it", save="Withdraw", said="Withdrawn: {}.",
        write=lambda: storing.withdraw(
            actor=actor, movement=row, at=timezone.now(), **form.cleaned_data
        ),
        lead=f"{row}, {day(row.moved_on)}. It never took place: it counts for nothing from now on "
        "and stays to be read with the reason.",
        to=lambda _: there, back=there, crumbs=crumbs_to_store(row.store),
    )  # fmt: skip


urls: list[URLPattern] = [
    path("stores/", stores, name="stores"),
    path("stores/<uuid:key>/", store, name="store"),
    path("sites/<uuid:key>/stores/new/", store_new, name="store_new"),
    path("stores/<uuid:key>/movements/<slug:kind>/", store_movement_new, name="store_movement_new"),
    path(
        "store-movements/<uuid:key>/correct/",
        store_movement_correct,
        name="store_movement_correct",
    ),
    path(
        "store-movements/<uuid:key>/withdraw/",
        store_movement_withdraw,
        name="store_movement_withdraw",
    ),
]
