"""What was measured of a tank over the years: each property at each point as plot and table."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET

from itm.core.figures import day
from itm.registry import queries as registry
from itm.reports.plot import PlotWords, TrendSeries, trend_plot
from itm.trends.tanks import PropertySeries, TankSeries, statements, tank_series
from itm.web.guard import actor_of, signed_in
from itm.web.tables import table_answer, table_paths

# The drawing is made for the width it is shown at: a shrunk one can't be read on a phone.
DESK, PHONE = 640, 350
SIDES = ("within limits", "below", "above")
MARKS = {"in band": "within limits", "lean": "below", "rich": "above"}


@signed_in
@require_GET
def tank_history(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    tank = registry.tank(actor, key)
    found = tank_series(actor, tank)
    context = {
        "tank": tank,
        "found": found,
        "properties": [
            _property(one, found, says)
            for one, says in zip(found.series, statements(found), strict=True)
        ],
        "events": [(day(event.day), event.words, event.detail) for event in found.events],
        "crumbs": [
            (tank.site.name, reverse("site", args=[tank.site.key])),
            (tank.tag, reverse("tank", args=[key])),
            ("Concentrate over the years", ""),
        ],
    }
    return render(request, "checks/history.html", context)


def _property(one: PropertySeries, found: TankSeries, says: tuple[str, ...]) -> dict[str, Any]:
    unit = f", {one.known.unit}" if one.known.unit else ""
    drawn = TrendSeries(
        name=one.name,
        points=tuple((m.checked_on, m.value, None, None, m.side, "settled", "")
                     for m in one.points),
        bands=one.bands,
        baseline=one.start,
        events=tuple((event.day, event.words) for event in (*found.events, *one.changes)),
        words=PlotWords(f"{one.known.words}{unit}", "limits", "certificate", SIDES),
    )  # fmt: skip
    return {
        "name": one.name,
        "limits": one.limits,
        "start": one.start and one.known.shown(f"{one.start[1]:.7g}"),
        "figure": {"wide": trend_plot(drawn, width=DESK), "narrow": trend_plot(drawn, width=PHONE)},
        "lines": [
            (day(m.checked_on), m, MARKS[m.side] if m.held else "") for m in reversed(one.points)
        ],
        "says": says,
        "changes": [(day(event.day), event.words, event.detail) for event in one.changes],
    }


TABLE_HEAD = (
    "Property", "Unit", "Point", "Sampled on", "Value", "As typed", "Temperature", "Limits",
    "From", "Check",
)  # fmt: skip


@signed_in
@require_GET
def tank_history_table(request: HttpRequest, key: UUID, form: str) -> HttpResponse:
    """Every value of the page."""
    actor = actor_of(request)
    found = tank_series(actor, registry.tank(actor, key))
    rows = [
        (one.known.heading, one.known.unit, one.point, m.checked_on.isoformat(), m.value, m.typed,
         m.temperature, MARKS[m.side] if m.held else "",
         "laboratory" if m.laboratory else "crew", str(m.check))
        for one in found.series for m in one.points
    ]  # fmt: skip
    return table_answer(f"concentrate-{key}", form, TABLE_HEAD, rows)


urls: list[URLPattern] = [
    path("tanks/<uuid:key>/checks/", tank_history, name="tank_history"),
    *table_paths("tanks/<uuid:key>/checks/table", tank_history_table, "tank_history"),
]
