"""The jurisdiction of an authority on one sheet: as a page to print, a PDF and two tables."""

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.core.figures import day, instant
from itm.schedule import sweep
from itm.trends import jurisdiction as found
from itm.trends.jurisdiction import Jurisdiction, SiteLine
from itm.trends.systems import STANDINGS
from itm.trends.unsigned import WAITS
from itm.web.guard import actor_of, signed_in
from itm.web.summaries import Summary, pdf_links, require_size, summary_file, summary_page
from itm.web.tables import FORMATS, table_answer, table_paths
from itm.web.wrong_papers import out_told, wrong_told


@signed_in
@require_GET
def jurisdiction(request: HttpRequest) -> HttpResponse:
    sheet = of_jurisdiction(actor_of(request), caught_up())
    bar = [("Back to the systems", reverse("home"))]
    bar += pdf_links(lambda size: reverse("jurisdiction_pdf", args=[size]))
    bar += [
        (f"{what.capitalize()} as a table ({form.upper()})", reverse(f"jurisdiction_{what}_{form}"))
        for what in ("sites", "systems")
        for form in FORMATS
    ]
    return summary_page(request, sheet, bar)


@signed_in
@require_GET
def jurisdiction_pdf(request: HttpRequest, size: str) -> HttpResponse:
    require_size(size)
    return summary_file(of_jurisdiction(actor_of(request), caught_up()), size)


@signed_in
@require_GET
def sites_table(request: HttpRequest, form: str) -> HttpResponse:
    actor, now = actor_of(request), caught_up()
    name = f"sites-{now.date().isoformat()}"
    return table_answer(name, form, found.SITES_HEAD, found.sites_table(actor, now))


@signed_in
@require_GET
def systems_table(request: HttpRequest, form: str) -> HttpResponse:
    actor, now = actor_of(request), caught_up()
    name = f"systems-{now.date().isoformat()}"
    return table_answer(name, form, found.SYSTEMS_HEAD, found.systems_table(actor, now))


def caught_up() -> datetime:
    """Now, with every standing moved that a day has changed."""
    now = timezone.now()
    sweep.catch_up(now)
    return now


def of_jurisdiction(actor: Actor, now: datetime) -> Summary:
    """Raises Forbidden for anybody but an authority."""
    all_of_it = found.jurisdiction(actor, now)
    return Summary(
        template="report/jurisdiction.html",
        title=f"Jurisdiction on {day(actor.today)}",
        about="Sites and systems by standing, what is overdue, wrong, out of service and ordered",
        actor=actor,
        at=now,
        told={**printed(all_of_it, actor, now), "authority": actor.organisation_name},
    )


def printed(seen: Jurisdiction, actor: Actor, now: datetime) -> dict[str, Any]:
    return {
        "site_count": len(seen.sites),
        "sites": [site_line(line) for line in seen.sites[: found.MOST]],
        "standings": [(words, seen.standings[name]) for name, words in STANDINGS.items()],
        "system_count": seen.standings.total(),
        "systems": seen.systems,
        "worst_count": seen.worst_count,
        "late": [
            {"line": one, "latest": day(one.duty.latest_on)}
            for one in seen.late
        ],
        "late_count": seen.late_count,
        "orders": [
            {"row": one, "due_on": day(one.due_on), "passed": one.due_on < actor.today,
             "seen": instant(one.seen_at, one.site.time_zone) if one.seen_at else ""}
            for one in seen.orders
        ],
        "orders_count": seen.orders_count,
        "unsigned": [{"line": one, "since": day(one.since)} for one in seen.unsigned],
        "unsigned_count": seen.unsigned_count,
        "waits": WAITS.days,
        **wrong_told(seen.wrong, seen.totals, actor.today),
        **out_told(seen.out, seen.out_count, now),
    }  # fmt: skip


def site_line(line: SiteLine) -> dict[str, Any]:
    return {
        "site": line.site,
        "systems": ", ".join(
            f"{line.systems[name]} {words.lower()}"
            for name, words in STANDINGS.items()
            if line.systems[name]
        ),
        "overdue": line.overdue,
        "wrong": line.wrong.total(),
        "out": line.out,
        "orders": line.orders,
        "unsigned": line.unsigned,
    }


urls: list[URLPattern] = [
    path("jurisdiction/", jurisdiction, name="jurisdiction"),
    path("jurisdiction/<slug:size>.pdf", jurisdiction_pdf, name="jurisdiction_pdf"),
    *table_paths("jurisdiction/sites", sites_table, "jurisdiction_sites"),
    *table_paths("jurisdiction/systems", systems_table, "jurisdiction_systems"),
]
