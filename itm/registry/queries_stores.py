"""What a person may read of concentrate in store."""

from datetime import date
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from itm.accounts.actor import Actor
from itm.registry.finding import Wanted, arranged, one
from itm.registry.models import ConcentrateLot, Site, Store, StoreMovement
from itm.registry.stored import in_store, store_book

STANDINGS = Store.Standing.choices
SORTS = {"lot": "lot__product", "site": "site__name", "standing": "standing", "place": "place"}


def stores(actor: Actor, wanted: Wanted) -> QuerySet[Store]:
    """With their book in force."""
    find_in = ("lot__product", "lot__batch", "place", "site__name")
    narrows = {"standing": "standing", "site": "site__key"}
    return arranged(
        with_book(Store.objects.visible_to(actor)), wanted, find_in=find_in, sorts=SORTS,
        narrows=narrows, retirable=False,
    )  # fmt: skip


def stores_of(actor: Actor, site: Site) -> list[Store]:
    """Supply before waste."""
    rows = with_book(Store.objects.visible_to(actor).filter(site=site))
    return list(rows.order_by("standing", "lot__product", "lot__batch", "pk"))


def stores_with(actor: Actor, lot: ConcentrateLot) -> list[Store]:
    """Every store that holds or held any of the lot."""
    rows = with_book(Store.objects.visible_to(actor).filter(lot=lot))
    return list(rows.order_by("site__name", "standing", "pk"))


def supply_at(site: Site) -> list[Store]:
    """What a tank of the site can be filled from. Who reads the site reads this of it."""
    rows = Store.objects.filter(site=site, standing=Store.Standing.SUPPLY)
    return not_empty(rows.order_by("lot__product", "lot__batch", "pk"))


def not_empty(rows: QuerySet[Store]) -> list[Store]:
    return [row for row in with_book(rows) if held(row) > 0]


def with_book(rows: QuerySet[Store]) -> QuerySet[Store]:
    book = Prefetch("movements", StoreMovement.objects.in_force())
    return rows.select_related("site__owner", "lot").prefetch_related(book)


def held(store: Store, on: date = date.max) -> float:
    """m³, of a store that came with its book."""
    return in_store(store_book(store.movements.all()), on)


def store(actor: Actor, key: UUID) -> Store:
    rows = Store.objects.visible_to(actor)
    return one(rows.select_related("site__owner", "lot"), "store", key)


def store_movements_of(actor: Actor, store: Store) -> list[StoreMovement]:
    """All of them, those that were withdrawn too."""
    rows = StoreMovement.objects.visible_to(actor).filter(store=store)
    return list(rows.select_related("tank_movement__tank").order_by("moved_on", "position", "pk"))


def store_movement(actor: Actor, key: UUID) -> StoreMovement:
    rows = StoreMovement.objects.visible_to(actor)
    related = ("store__site__owner", "store__lot", "tank_movement__tank")
    return one(rows.select_related(*related), "movement of a store", key)
