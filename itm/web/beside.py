"""Side by side: which proportioners drift most, and what those have alike that do."""

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET

from calc.acceptance import IN_BAND
from itm.accounts.actor import Actor
from itm.core.figures import chance, day, percent
from itm.reports.plot_slope import slope_mark
from itm.trends import beside
from itm.trends.beside import AGES, BY, CONCENTRATES, KINDS, MOST, ORDERS, Asked, Row
from itm.trends.statement import points
from itm.web.guard import actor_of, signed_in
from itm.web.summaries import pdf_links
from itm.web.tables import FORMATS, table_answer, table_paths

PAGE = 50
NOT_ENOUGH = "too few results"
HEAD = (
    "Site", "Foam system", "Proportioner", "Type", "Nominal %", "Commissioned on", "Concentrate",
    "Flow point", "Latest test", "Contractor", "Percent", "Band from %", "Band to %", "Limits",
    "Certainty", "Results counted", "Years say", "Slope, points a year", "Slope 95 % from",
    "Slope 95 % to", "Chance of such an order", "Chance among all shown",
    "Less acceptance test, points", "Leaves its band, earliest",
)  # fmt: skip


@signed_in
@require_GET
def side_by_side(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    asked, order, by = asked_in(request)
    found = beside.side_by_side(actor, asked, order)
    page: Any = Paginator(found.rows, PAGE).get_page(request.GET.get("page"))
    reach = reach_of_all(page.object_list)
    context = {
        "asked": asked,
        "order": order,
        "by": by,
        "narrowed": asked != Asked(),
        "most": MOST,
        "found": found,
        "page": page,
        "lines": [line(row, reach, actor.today) for row in page.object_list],
        "reach": points(reach).lstrip("+"),
        "groups": [grouped(one) for one in beside.groups(found.rows, by)],
        "by_words": BY[by][0],
        "chosen": choices(actor, asked),
        "orders": [(key, words) for key, (words, _) in ORDERS.items()],
        "bys": [(key, words) for key, (words, _) in BY.items()],
        "tables": [
            (form, with_query(request, reverse(f"side_by_side_{form}"))) for form in FORMATS
        ],
        "papers": pdf_links(
            lambda size: with_query(request, reverse("side_by_side_pdf", args=[size]))
        ),
        "crumbs": [("Trends", reverse("trends")), ("Side by side", "")],
    }
    return render(request, "trends/beside.html", context)


@signed_in
@require_GET
def side_by_side_table(request: HttpRequest, form: str) -> HttpResponse:
    asked, order, _ = asked_in(request)
    found = beside.side_by_side(actor_of(request), asked, order)
    return table_answer("side-by-side", form, HEAD, map(cells, found.rows))


def asked_in(request: HttpRequest) -> tuple[Asked, str, str]:
    """What the address asks for; a value that nobody offered is passed over."""

    def one_of(name: str, offered: Any, otherwise: str = "") -> str:
        value = request.GET.get(name, "")
        return value if value in offered else otherwise

    asked = Asked(
        find=request.GET.get("find", "").strip()[:80],
        kind=one_of("kind", dict(KINDS)),
        concentrate=one_of("concentrate", dict(CONCENTRATES)),
        contractor=key_in(request.GET.get("contractor", "")),
        age=one_of("age", AGES),
    )
    return asked, one_of("order", ORDERS, "drift"), one_of("by", BY, "kind")


def key_in(text: str) -> str:
    try:
        return str(UUID(text))
    except ValueError:
        return ""


def with_query(request: HttpRequest, there: str) -> str:
    """The address with what this page asks for, whatever page of it is open."""
    query = request.GET.copy()
    query.pop("page", None)
    return f"{there}?{query.urlencode()}" if query else there


def choices(actor: Actor, asked: Asked) -> list[tuple[str, str, Any, str]]:
    """What narrows the comparison: its name, label, choices, and what was chosen."""
    return [
        ("kind", "Type", KINDS, asked.kind),
        ("concentrate", "Concentrate", CONCENTRATES, asked.concentrate),
        ("contractor", "Contractor", beside.contractors(actor), asked.contractor),
        ("age", "Age", [(key, words) for key, (words, *_) in AGES.items()], asked.age),
    ]


def reach_of_all(rows: Sequence[Row]) -> float:
    """The scale that all of them share."""
    return max((reach_of(row) for row in rows), default=0.0)


def reach_of(row: Row) -> float:
    """How far a row asks the scale of the page to go; a very long interval is cut."""
    if row.slope is None:
        return 0.0
    ends = [abs(end) for end in (row.low, row.high) if end is not None]
    return min(max([abs(row.slope), *ends]), 3 * max(abs(row.slope), 0.02))


def line(row: Row, reach: float, today: date) -> dict[str, Any]:
    device = row.proportioner
    return {
        "row": row,
        "device": device,
        "system": device.system,
        "site": device.system.site,
        "latest": percent(row.latest.result.percent, row.latest.band),
        "tested_on": day(row.latest.tested_on),
        "slope": "" if row.slope is None else points(row.slope),
        "mark": "" if row.slope is None else slope_mark(
            row.slope, row.low, row.high, reach=reach, title=slope_words(row)
        ),
        "interval": "" if row.low is None or row.high is None else
        f"{points(row.low)} to {points(row.high)}",
        "says": says(row),
        "apart": "" if row.apart is None else points(row.apart),
        "outside": outside(row, today),
    }  # fmt: skip


def slope_words(row: Row) -> str:
    if row.low is None or row.high is None:
        return f"{points(row.slope or 0)} a year, interval open"
    return f"{points(row.slope or 0)} a year, {points(row.low)} to {points(row.high)}"


def says(row: Row) -> str:
    many = f"{row.results} result{'s'[: row.results != 1]}"
    if row.chance is None:
        return f"{NOT_ENOUGH} ({many})"
    if not row.turns:
        return f"no trend is shown ({many})"
    by_chance = f"by chance in {chance(row.chance, 0.05)} of 100"
    return f"{row.statement} ({many}, {by_chance})"


def outside(row: Row, today: date) -> str:
    """When the flow point leaves its band, as far as its results can tell."""
    if row.latest.result.limits != IN_BAND:
        return "now"
    if row.chance is None:
        return NOT_ENOUGH
    if row.earliest is None:
        return "not within 30 years"
    if row.earliest <= today:
        return "cannot be told from now"
    return f"from {day(row.earliest)} at the earliest"


def grouped(one: beside.Group) -> dict[str, Any]:
    return {"group": one, "slope": "" if one.slope is None else points(one.slope)}


def cells(row: Row) -> tuple[str | int | float | None, ...]:
    device, latest = row.proportioner, row.latest
    system = device.system
    lower, upper = latest.band
    return (
        system.site.name, system.name, device.tag, row.kind, float(device.nominal_percent),
        iso(system.commissioned_on), row.concentrate, row.flow_point, iso(latest.tested_on),
        row.contractor, latest.result.percent, lower, upper, latest.result.limits,
        latest.result.certainty, row.results, row.statement, row.slope, row.low, row.high,
        row.chance, row.among_all, row.apart, iso(row.earliest),
    )  # fmt: skip


def iso(value: date | None) -> str:
    return value.isoformat() if value else ""


urls: list[URLPattern] = [
    path("trends/side-by-side/", side_by_side, name="side_by_side"),
    *table_paths("trends/side-by-side/table", side_by_side_table, "side_by_side"),
]  # fmt: skip
