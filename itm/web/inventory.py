"""The PFAS inventory: what stands where on a day, to read, to print and as a table."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.views.decorators.http import require_GET

from itm.core.conversions import like
from itm.core.figures import day
from itm.registry.contents import amount
from itm.registry.inventory import HEAD, Holding, Stock, Total, inventory, table
from itm.web.editing import site_date
from itm.web.guard import actor_of, signed_in
from itm.web.holding import LITRES, day_asked
from itm.web.tables import table_answer, table_paths


@signed_in
@require_GET
def pfas_inventory(request: HttpRequest) -> HttpResponse:
    form, on = day_asked(request.GET, site_date())
    stocks = inventory(actor_of(request), on)
    context = {
        "form": form,
        "on": on,
        "stocks": [_shown(stock) for stock in stocks],
        "crumbs": [],
    }
    return render(request, "registry/inventory.html", context)


@signed_in
@require_GET
def pfas_table(request: HttpRequest, form: str) -> HttpResponse:
    """The same rows for a spreadsheet; a day that is none is today, and the name of the file says
    which day it is of."""
    _, on = day_asked(request.GET, site_date())
    name = f"pfas-inventory-{on.isoformat()}"
    return table_answer(name, form, HEAD, table(inventory(actor_of(request), on)))


def _shown(stock: Stock) -> dict:
    unit = like(LITRES)
    return {
        "owner": stock.owner,
        "totals": [
            (total.status, amount(total.volume, unit), places(total)) for total in stock.totals()
        ],
        "rows": [row for holding in stock.holdings for row in _rows(holding)],
        "stored": [(one.store, amount(one.volume, unit)) for one in stock.stored],
    }


def places(total: Total) -> str:
    """“in 2 tanks and 1 store”."""
    counts = [(total.tanks, "tank"), (total.stores, "store")]
    words = [f"{count} {what}{'s'[: count != 1]}" for count, what in counts if count]
    return f"in {' and '.join(words)}" if words else ""


def _rows(holding: Holding) -> list[dict]:
    tank = holding.tank
    base = {
        "tank": tank,
        "retired": day(tank.retired_on),
        "status": holding.status,
        "doubt": bool(holding.held.problems),
    }
    if not holding.parts:
        volume = amount(0.0, like(LITRES)) if holding.held.noted else "not known"
        return [{**base, "first": True, "count": 1, "lot": None, "volume": volume}]
    return [
        {
            **base,
            "first": i == 0,
            "count": len(holding.parts),
            "lot": part.lot,
            "volume": amount(part.volume, like(LITRES)),
        }
        for i, part in enumerate(holding.parts)
    ]


urls: list[URLPattern] = [
    path("pfas/", pfas_inventory, name="pfas_inventory"),
    *table_paths("pfas/table", pfas_table, "pfas"),
]
