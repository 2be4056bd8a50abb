"""The PFAS inventory: what stands where on a day, to read, to print and as a table."""

from datetime import date, datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.core.conversions import like
from itm.core.figures import day
from itm.records import effluent, effluent_sums
from itm.registry.contents import amount
from itm.registry.inventory import HEAD, Holding, Stock, Total, inventory, table
from itm.web.editing import own_date
from itm.web.effluent_told import HEAD as EFFLUENT_HEAD
from itm.web.effluent_told import sums, table_row, volume_of
from itm.web.guard import actor_of, signed_in
from itm.web.holding import LITRES, OnForm, day_asked
from itm.web.summaries import Summary, pdf_links, require_size, summary_file
from itm.web.tables import table_answer, table_paths

HAULED_MOST = 200  # papers named on page and sheet; the table holds every line
MOST = 1000  # lines on paper, about forty pages; the table for a spreadsheet holds all


def _asked(request: HttpRequest) -> tuple[OnForm, date]:
    return day_asked(request.GET, own_date(actor_of(request)))


@signed_in
@require_GET
def pfas_inventory(request: HttpRequest) -> HttpResponse:
    form, on = _asked(request)
    stocks = inventory(actor_of(request), on)
    context = {
        "form": form,
        "on": on,
        "stocks": [_shown(stock) for stock in stocks],
        "effluent": _effluent(actor_of(request), on),
        "papers": pdf_links(lambda size: reverse("pfas_pdf", args=[size])),
        "crumbs": [],
    }
    return render(request, "registry/inventory.html", context)


@signed_in
@require_GET
def pfas_pdf(request: HttpRequest, size: str) -> HttpResponse:
    """The inventory on paper; a day that is none is today, and the sheet says of which it is."""
    require_size(size)
    _, on = _asked(request)
    return summary_file(sheet(actor_of(request), on, timezone.now()), size)


def sheet(actor: Actor, on: date, now: datetime) -> Summary:
    stocks = [_shown(stock) for stock in inventory(actor, on)]
    count = sum(len(stock["rows"]) + len(stock["stored"]) for stock in stocks)
    return Summary(
        template="report/pfas.html",
        title=f"PFAS inventory, {day(on)}",
        about=f"Concentrate in tanks and in store at the end of {day(on)}, by PFAS status",
        actor=actor,
        at=now,
        told={
            "on": day(on),
            "stocks": _at_most(stocks, MOST),
            "count": count,
            "most": MOST,
            "effluent": _effluent(actor, on),
        },
    )


def _effluent(actor: Actor, on: date) -> dict[str, Any] | None:
    """What came out until that day and where it went; nothing where nobody noted any."""
    sites = effluent_sums.by_site(actor, on)
    if not sites:
        return None
    papers = effluent_sums.hauled(actor, on, HAULED_MOST)
    unit = like(LITRES)
    return {
        "sites": [
            {
                "site": one.site,
                "rows": [
                    (status, [amount for _, amount in sums(found)])
                    for status, found in one.by_status
                ],
            }
            for one in sites[:MOST]
        ],
        "count": len(sites),
        "differences": [
            (one.site.name, sentence)
            for one in sites[:MOST]
            for sentence in one.whole.differences(unit)
        ],
        "hauled": [
            {"site": one.site, "on": day(one.happened_on), "row": one, **volume_of(one)}
            for one in papers.lines
        ],
        "hauled_count": papers.count,
    }  # fmt: skip


def _at_most(stocks: list[dict[str, Any]], most: int) -> list[dict[str, Any]]:
    """The first lines of all; totals stay those of everything."""
    out, left = [], most
    for stock in stocks:
        rows = stock["rows"][:left]
        stored = stock["stored"][: left - len(rows)]
        left -= len(rows) + len(stored)
        out.append({**stock, "rows": rows, "stored": stored})
    return out


@signed_in
@require_GET
def pfas_table(request: HttpRequest, form: str) -> HttpResponse:
    """The same rows for a spreadsheet; a day that is none is today, and the name of the file says
    which day it is of."""
    _, on = _asked(request)
    name = f"pfas-inventory-{on.isoformat()}"
    return table_answer(name, form, HEAD, table(inventory(actor_of(request), on)))


@signed_in
@require_GET
def pfas_effluent_table(request: HttpRequest, form: str) -> HttpResponse:
    """Every line until that day, of all sites; withdrawn ones too."""
    _, on = _asked(request)
    rows = effluent.lines(actor_of(request)).filter(happened_on__lte=on)
    rows = rows.order_by("site__name", "site_id", "happened_on", "pk")
    name = f"effluent-until-{on.isoformat()}"
    return table_answer(name, form, EFFLUENT_HEAD, [table_row(one) for one in rows])


def _shown(stock: Stock) -> dict[str, Any]:
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


def _rows(holding: Holding) -> list[dict[str, Any]]:
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
    *table_paths("pfas/effluent", pfas_effluent_table, "pfas_effluent"),
    path("pfas/<slug:size>.pdf", pfas_pdf, name="pfas_pdf"),
]
