"""Trends on paper: one proportioner, a tank, a lot, and all of them side by side, as PDF.

Each prints what its page shows, by the same code and with the same drawing, for whoever asks.
"""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.core.figures import thin
from itm.registry import queries as registry
from itm.trends import beside, queries
from itm.trends.beside import BY, ORDERS, Asked
from itm.trends.statement import points
from itm.web.beside import asked_in, choices, grouped, line, reach_of_all
from itm.web.drawing import SHEET_WIDTHS
from itm.web.guard import actor_of, signed_in
from itm.web.summaries import Summary, require_size, summary_file
from itm.web.tank_history import of_lot, of_tank
from itm.web.trends import shown

MOST = 200  # lines of one table; the table for a spreadsheet holds all
MOST_SERIES = 60  # properties at their points, two on a page
MOST_BESIDE = 300  # flow points side by side, about twenty pages


@signed_in
@require_GET
def trend_pdf(request: HttpRequest, key: UUID, size: str) -> HttpResponse:
    require_size(size)
    return summary_file(of_device(actor_of(request), key), size)


def of_device(actor: Actor, key: UUID) -> Summary:
    now = timezone.now()
    found = queries.series(actor, key, now)
    device, site = found.proportioner, found.proportioner.system.site
    told = shown(found, SHEET_WIDTHS)
    for one in told["flow_points"]:
        for name in ("lines", "corrected", "beside", "reported"):
            one[f"{name}_cut"] = cut(one[name])
            one[name] = one[name][:MOST]
    return Summary(
        template="report/trend.html",
        title=f"Trend of {device.tag}, {site.name}",
        about="Results of one proportioner over the years, as found, and what happened between",
        actor=actor,
        at=now,
        zone=site.time_zone,
        told={**told, "device": device, "site": site},
    )


def cut(lines: list[Any]) -> str:
    """What a caption adds where not every line is printed; the newest stand first."""
    return f": the newest {MOST} of {thin(str(len(lines)))}" if len(lines) > MOST else ""


@signed_in
@require_GET
def tank_history_pdf(request: HttpRequest, key: UUID, size: str) -> HttpResponse:
    require_size(size)
    actor = actor_of(request)
    tank = registry.tank(actor, key)
    told = of_tank(actor, tank, SHEET_WIDTHS)
    return summary_file(
        history(
            actor, told, kind="Concentrate of a tank over the years", name=tank.tag,
            where=f"{tank.site.name}, {tank.site.owner.name}", zone=tank.site.time_zone,
        ), size,
    )  # fmt: skip


@signed_in
@require_GET
def lot_history_pdf(request: HttpRequest, key: UUID, size: str) -> HttpResponse:
    require_size(size)
    actor = actor_of(request)
    lot = registry.lot(actor, key)
    told = of_lot(actor, lot, SHEET_WIDTHS)
    return summary_file(
        history(
            actor, told, kind="Concentrate of a lot over the years", name=str(lot),
            where=lot.get_kind_display(), zone="UTC",
        ), size,
    )  # fmt: skip


def history(
    actor: Actor, told: dict[str, Any], *, kind: str, name: str, where: str, zone: str
) -> Summary:
    properties = told["properties"]
    for one in properties:
        for lines in ("lines", "reported"):
            one[f"{lines}_cut"] = cut(one[lines])
            one[lines] = one[lines][:MOST]
    whole = told["whole"]
    return Summary(
        template="report/concentrate.html",
        title=told["title"],
        about=told["lead"],
        actor=actor,
        at=timezone.now(),
        zone=zone,
        told={
            **told, "kind": kind, "name": name, "where": where,
            "properties": properties[:MOST_SERIES], "count": len(properties),
            "whole": whole[:MOST], "whole_cut": cut(whole),
        },
    )  # fmt: skip


@signed_in
@require_GET
def side_by_side_pdf(request: HttpRequest, size: str) -> HttpResponse:
    """Of what the page was asked for, however it is paged there."""
    require_size(size)
    asked, order, by = asked_in(request)
    return summary_file(compared(actor_of(request), asked, order, by), size)


def compared(actor: Actor, asked: Asked, order: str, by: str) -> Summary:
    found = beside.side_by_side(actor, asked, order)
    rows = found.rows[:MOST_BESIDE]
    reach = reach_of_all(rows)
    return Summary(
        template="report/side_by_side.html",
        title="Proportioners side by side",
        about="Which proportioners drift most, and what those have alike that do",
        actor=actor,
        at=timezone.now(),
        told={
            "found": found,
            "lines": [line(row, reach, actor.today) for row in rows],
            "reach": points(reach).lstrip("+"),
            "groups": [grouped(one) for one in beside.groups(found.rows, by)],
            "by_words": BY[by][0],
            "order": ORDERS[order][0],
            "only": only(actor, asked),
            "most": beside.MOST,
        },
    )


def only(actor: Actor, asked: Asked) -> str:
    """What the comparison was narrowed to, in words."""
    out = [f"sites with “{asked.find}”"] if asked.find else []
    for _, label, offered, chosen in choices(actor, asked):
        if chosen:
            words = {str(key): str(said) for key, said in offered}
            out.append(f"{label.lower()} {words.get(chosen, 'that is not known')}")
    return "; ".join(out)


urls: list[URLPattern] = [
    path("trends/side-by-side/<slug:size>.pdf", side_by_side_pdf, name="side_by_side_pdf"),
    path("trends/<uuid:key>/<slug:size>.pdf", trend_pdf, name="trend_pdf"),
    path("tanks/<uuid:key>/checks/<slug:size>.pdf", tank_history_pdf, name="tank_history_pdf"),
    path("lots/<uuid:key>/checks/<slug:size>.pdf", lot_history_pdf, name="lot_history_pdf"),
]
