"""What was measured of a tank, or of a lot, over the years: each property at each point as plot and
table."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.registry import queries as registry
from itm.reports.plot import PlotWords, TrendSeries
from itm.trends.events import Event
from itm.trends.tanks import (
    ConcentrateSeries,
    PropertySeries,
    lot_series,
    statements,
    tank_series,
)
from itm.web.drawing import PAGE_WIDTHS, Widths, drawn_in
from itm.web.guard import actor_of, signed_in
from itm.web.summaries import pdf_links
from itm.web.tables import table_answer, table_paths

SIDES = ("within limits", "below", "above")
MARKS = {"in band": "within limits", "lean": "below", "rich": "above"}


@signed_in
@require_GET
def tank_history(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    tank = registry.tank(actor, key)
    crumbs = [
        (tank.site.name, reverse("site", args=[tank.site.key])),
        (tank.tag, reverse("tank", args=[key])),
        ("Concentrate over the years", ""),
    ]
    return _history(request, of_tank(actor, tank, PAGE_WIDTHS), "tank_history", key, crumbs)


@signed_in
@require_GET
def lot_history(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    lot = registry.lot(actor, key)
    crumbs = [
        ("Lots", reverse("lots")), (str(lot), reverse("lot", args=[key])), ("Over the years", ""),
    ]  # fmt: skip
    return _history(request, of_lot(actor, lot, PAGE_WIDTHS), "lot_history", key, crumbs)


def of_tank(actor: Actor, tank: Any, widths: Widths) -> dict[str, Any]:
    """What page and sheet say of a tank."""
    return {
        **_shown(tank_series(actor, tank), widths),
        "title": f"Concentrate of {tank.tag} over the years",
        "lead": "Values of sealed checks that no later record corrects, each at its point of the "
        "tank. Index and density as read at 20 °C.",
        "empty": "No sealed check yet. The history begins with the first one.",
    }


def of_lot(actor: Actor, lot: Any, widths: Widths) -> dict[str, Any]:
    """What page and sheet say of a lot."""
    return {
        **_shown(lot_series(actor, lot), widths),
        "title": f"{lot} over the years",
        "lead": "Values of sealed checks that no later record corrects, of tanks in which nothing "
        "but this lot stood by the book. A mixture says nothing of one of its lots. Index and "
        "density as read at 20 °C.",
        "empty": "No sealed check yet of a tank that held this lot alone.",
    }


def _tables(name: str, key: UUID) -> dict[str, str]:
    return {form: reverse(f"{name}_{form}", args=[key]) for form in ("csv", "xlsx")}


def _history(
    request: HttpRequest, told: dict[str, Any], name: str, key: UUID, crumbs: Any
) -> HttpResponse:
    papers = pdf_links(lambda size: reverse(f"{name}_pdf", args=[key, size]))
    around = {"tables": _tables(name, key), "papers": papers, "crumbs": crumbs}
    return render(request, "checks/history.html", {**told, **around})


def _shown(found: ConcentrateSeries, widths: Widths) -> dict[str, Any]:
    return {
        "found": found,
        "properties": [
            _property(one, found, says, widths)
            for one, says in zip(found.series, statements(found), strict=True)
        ],
        "events": [(day(event.day), event.words, event.detail) for event in found.events],
        "whole": list(reversed(found.whole)),
    }


def _property(
    one: PropertySeries, found: ConcentrateSeries, says: tuple[str, ...], widths: Widths
) -> dict[str, Any]:
    unit = f", {one.known.unit}" if one.known.unit else ""
    drawn = TrendSeries(
        name=one.name,
        points=tuple((m.checked_on, m.value, None, None, m.side, "settled", "")
                     for m in one.points),
        bands=one.bands,
        reported=one.drawn,
        baseline=one.start,
        events=tuple((event.day, event.words) for event in (*found.events, *one.changes)),
        words=PlotWords(f"{one.known.words}{unit}", "limits", "certificate", SIDES),
    )  # fmt: skip
    return {
        "name": one.name,
        "limits": one.limits,
        "start": one.start and one.known.shown(f"{one.start[1]:.7g}"),
        "figure": drawn_in(drawn, widths),
        "lines": [
            (day(m.checked_on), m, MARKS[m.side] if m.held else "") for m in reversed(one.points)
        ],
        "says": says,
        "points": bool(one.points),
        "reported": list(reversed(one.reported)),
        "reported_caption": f"{one.name}, as older papers report",
        "changes": [(day(event.day), event.words, event.detail) for event in one.changes],
    }


TABLE_HEAD = (
    "Property", "Unit", "Point", "Sampled on", "Value", "As typed", "Temperature", "Limits",
    "From", "Check", "Counts", "Limits as reported", "Outcome", "Laboratory and paper",
    "Lower limit", "Upper limit", "Method", "Note",
)  # fmt: skip


@signed_in
@require_GET
def tank_history_table(request: HttpRequest, key: UUID, form: str) -> HttpResponse:
    actor = actor_of(request)
    return _table(tank_series(actor, registry.tank(actor, key)), key, form)


@signed_in
@require_GET
def lot_history_table(request: HttpRequest, key: UUID, form: str) -> HttpResponse:
    actor = actor_of(request)
    return _table(lot_series(actor, registry.lot(actor, key)), key, form)


def _table(found: ConcentrateSeries, key: UUID, form: str) -> HttpResponse:
    """What the page says: every value, the events, and of each property what the years say and
    what the certificate gives."""
    rows: list[tuple[str | float | None, ...]] = [
        (one.known.heading, one.known.unit, one.point, m.checked_on.isoformat(), m.value, m.typed,
         m.temperature, MARKS[m.side] if m.held else "",
         "laboratory" if m.laboratory else "crew", str(m.check), "in the series", "", "", m.by,
         *(None if end is None else float(end) for end in m.ends), m.method, "")
        for one in found.series for m in one.points
    ]  # fmt: skip
    rows += [_reported(one.known.unit, one.point, line)
             for one in found.series for line in one.reported]  # fmt: skip
    rows += [_reported("", line.point_words, line) for line in found.whole]
    rows += [_words("", "", event, "event") for event in found.events]
    for one, says in zip(found.series, statements(found), strict=True):
        rows += [_words(one.known.heading, one.point, event, "event") for event in one.changes]
        if one.start is not None:
            on, value = one.start
            rows.append((one.known.heading, one.known.unit, one.point, on.isoformat(), value,
                         *[None] * 5, "certificate", *[None] * 7))  # fmt: skip
        rows += [
            (one.known.heading, one.known.unit, one.point, *[None] * 7, "what the years say",
             *[None] * 6, words)
            for words in says
        ]  # fmt: skip
    return table_answer(f"concentrate-{key}", form, TABLE_HEAD, rows)


def _words(name: str, point: str, event: Event, counts: str) -> tuple[str | float | None, ...]:
    note = f"{event.words}. {event.detail}".strip()
    return (name, "", point, event.day.isoformat(), *[None] * 6, counts, *[None] * 6, note)


def _reported(unit: str, point: str, line: Any) -> tuple[str | float | None, ...]:
    """As the paper has it; no word of ours about limits."""
    return (
        line.heading, unit, point, line.sampled_on.isoformat(),
        None if line.value is None else float(line.value), line.value_typed,
        line.temperature_typed, "", line.origin_words, str(line.key), "as an older paper reports",
        line.limits_words, line.outcome, ", ".join(filter(None, (line.laboratory, line.paper))),
        "", "", "", "",
    )  # fmt: skip


urls: list[URLPattern] = [
    path("tanks/<uuid:key>/checks/", tank_history, name="tank_history"),
    *table_paths("tanks/<uuid:key>/checks/table", tank_history_table, "tank_history"),
    path("lots/<uuid:key>/checks/", lot_history, name="lot_history"),
    *table_paths("lots/<uuid:key>/checks/table", lot_history_table, "lot_history"),
]
