"""One year of a site on one sheet: as a page to print, and as a PDF made at once."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.conversions import like
from itm.core.figures import day, instant, percent
from itm.findings.queries import days_open, where
from itm.registry import queries
from itm.registry.contents import amount, rinse_words
from itm.reports.address import verify_address
from itm.reports.content_kept import qr
from itm.trends.effluent import OfYear
from itm.trends.site_year import Checked, SiteYear, Tested, site_year, years_of
from itm.web.effluent_told import on_paper, sum_of, sums
from itm.web.guard import actor_of, signed_in
from itm.web.holding import LITRES
from itm.web.summaries import Summary, pdf_links, require_size, summary_file, summary_page


@signed_in
@require_GET
def site_year_page(request: HttpRequest, key: UUID, year: int) -> HttpResponse:
    actor, now = actor_of(request), timezone.now()
    site = queries.site(actor, key)
    years = years_of(site, date_at(site.time_zone, now))
    sheet = of_year(actor, site, year, years, now)
    beside = [one for one in (year - 1, year + 1) if one in years]
    bar = [("Back to the site", reverse("site", args=[key]))]
    bar += [(str(one), reverse("site_year", args=[key, one])) for one in beside]
    bar += pdf_links(lambda size: reverse("site_year_pdf", args=[key, year, size]))
    return summary_page(request, sheet, bar)


@signed_in
@require_GET
def site_year_pdf(request: HttpRequest, key: UUID, year: int, size: str) -> HttpResponse:
    actor, now = actor_of(request), timezone.now()
    site = queries.site(actor, key)
    require_size(size)
    years = years_of(site, date_at(site.time_zone, now))
    return summary_file(of_year(actor, site, year, years, now), size)


def of_year(actor: Actor, site: Any, year: int, years: range, now: datetime) -> Summary:
    """The sheet. A year before the site began, or to come, is not found."""
    if year not in years:
        raise Http404
    found = site_year(actor, site, year, now)
    return Summary(
        template="report/site_year.html",
        title=f"{site.name}, {year}",
        about=f"What is on record of the year {year}",
        actor=actor,
        at=now,
        zone=site.time_zone,
        told=printed(found),
    )


def printed(found: SiteYear) -> dict[str, Any]:
    site = found.site
    newest = found.newest
    return {
        "found": found,
        "site": site,
        "until": day(found.until),
        "tests": [tested(one) for one in found.tests],
        "checks": [checked(one) for one in found.checks],
        "counts": counts(found),
        "wrong": [
            {"row": row, "where": where(row), "found_on": day(row.found_on),
             "lasted": days_open(row, found.until),
             "closed": instant(row.closed_at, site.time_zone) if row.closed_at else ""}
            for row in found.wrong
        ],
        "out": [
            {"row": one.impairment, "hours": hours(one.hours),
             "systems": ", ".join(str(s.system) for s in one.impairment.systems.all()),
             "since": instant(one.impairment.started_at, site.time_zone),
             "until": instant(one.impairment.ended_at, site.time_zone)
             if one.impairment.ended_at else ""}
            for one in found.out
        ],
        "effluent": effluent(found.effluent, site.time_zone),
        "stocks": [stock(one) for one in found.stocks],
        "newest": newest,
        "code": qr(verify_address(newest)) if newest else "",
        "code_words": "Newest seal of the site: scan to check.",
    }  # fmt: skip


def effluent(found: OfYear, zone: str) -> dict[str, Any]:
    unit = like(LITRES)
    return {
        "found": found,
        "lines": on_paper(found.lines, zone),
        "caption": "Amounts of liquid, by what is noted"
        + (
            f": the first {len(found.lines)} of {found.count}"
            if found.count > len(found.lines)
            else ""
        ),
        "sums": sums(found.balance),
        "differences": found.balance.of_discharged(unit),
        "standing": found.standing.of_collected(unit),
        "silent": [f"{day(one.planned_on)} ({one.contractor.name})" for one in found.silent],
        "rinsed": [
            f"{one.tank.tag}, {day(one.moved_on)}: {rinse_words(one)}" for one in found.rinsed
        ],
    }


def tested(one: Tested) -> dict[str, Any]:
    test = one.test
    band = (float(test.band_lower), float(test.band_upper))
    return {
        "one": one,
        "test": test,
        "on": day(test.tested_on),
        "points": [
            (point.name, percent(point.percent, point.band or band), point.limits, point.certainty)
            for point in one.flow_points
        ],
        "band": f"{percent(band[0])} to {percent(band[1])} %",
    }


def checked(one: Checked) -> dict[str, Any]:
    return {"one": one, "check": one.check, "on": day(one.check.checked_on)}


def counts(found: SiteYear) -> list[tuple[str, str]]:
    wrong = found.wrong
    still = sum(row.closed_at is None for row in wrong)
    late = found.total("late")
    tests = len(found.in_force)
    said = f"{tests} in force"
    if tests:
        said += f": {found.outside} outside the limits, {found.undecided} inside and undecided"
    return [
        ("Proportioning tests", said),
        ("Concentrate checks", f"{sum(not one.corrected for one in found.checks)} in force"),
        ("Handed in and not signed", str(found.unsigned)),
        ("Duties of the year", f"{found.total('cycles')}: {found.total('in_time')} done in time, "
         f"{late} late, {found.total('overdue')} overdue, {found.total('to_come')} to come"),
        ("Deficiencies", f"{len(wrong)} open at some time, {still} open now"),
        ("Discharged", discharged(found)),
        ("Out of service", times(len(found.out), found.hours_out)),
    ]  # fmt: skip


def discharged(found: SiteYear) -> str:
    said, silent = sum_of(found.effluent.balance, "discharged"), len(found.effluent.silent)
    days = found.effluent.days
    return f"{said}; nothing noted of {silent} of {days} test days" if silent else said


def times(count: int, out: float) -> str:
    return f"{count} time{'s'[: count != 1]}, {hours(out)}" if count else "at no time"


def hours(value: float) -> str:
    return f"{value:.1f} h"


def stock(one: Any) -> dict[str, Any]:
    unit = like(LITRES)
    return {
        "totals": [(total.status, amount(total.volume, unit)) for total in one.totals()],
        "tanks": [
            (holding.tank, holding.status,
             [(part.lot, amount(part.volume, unit)) for part in holding.parts])
            for holding in one.holdings
        ],
        "stored": [(held.store, amount(held.volume, unit)) for held in one.stored],
    }  # fmt: skip


urls: list[URLPattern] = [
    path("sites/<uuid:key>/years/<int:year>/", site_year_page, name="site_year"),
    path("sites/<uuid:key>/years/<int:year>/<slug:size>.pdf", site_year_pdf, name="site_year_pdf"),
]
