"""One visit as one report: as a page to print, and as a PDF made at once."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.core.figures import day, instant, percent
from itm.findings.queries import where
from itm.findings.wording import lasting
from itm.reports.address import verify_address
from itm.reports.content_kept import grouped, qr
from itm.trends.effluent import OfDay
from itm.trends.latest import band_of
from itm.trends.visit_day import Line, VisitDay, visit_day
from itm.web.effluent_told import on_paper, sure, told
from itm.web.guard import actor_of, signed_in
from itm.web.reports import CHECKS, TESTS
from itm.web.summaries import Summary, pdf_links, require_size, summary_file, summary_page
from itm.web.wrong_papers import told_words


@signed_in
@require_GET
def visit_report(request: HttpRequest, key: UUID) -> HttpResponse:
    sheet = of_visit(actor_of(request), key, timezone.now())
    bar = [("Back to the visit", reverse("visit", args=[key]))]
    bar += pdf_links(lambda size: reverse("visit_report_pdf", args=[key, size]))
    return summary_page(request, sheet, bar)


@signed_in
@require_GET
def visit_report_pdf(request: HttpRequest, key: UUID, size: str) -> HttpResponse:
    require_size(size)
    return summary_file(of_visit(actor_of(request), key, timezone.now()), size)


def of_visit(actor: Actor, key: UUID, now: datetime) -> Summary:
    """Raises NotFound for a visit that is not the actor's to see."""
    found = visit_day(actor, key, now)
    visit = found.visit
    return Summary(
        template="report/visit.html",
        title=f"Visit to {visit.site.name}, {day(visit.planned_on)}",
        about="One test day: what was out of service, every record of it, and who signed",
        actor=actor,
        at=now,
        zone=visit.site.time_zone,
        told=printed(found),
    )


def printed(found: VisitDay) -> dict[str, Any]:
    visit, zone = found.visit, found.visit.site.time_zone
    return {
        "found": found,
        "visit": visit,
        "planned": day(visit.planned_on),
        "zone": zone,
        "out_for": lasting(found.out_for) if found.out_for is not None else "",
        "out": found.out,
        "told": told_words(found.out.told, zone) if found.out else notices(visit, zone),
        "tests": [tested(one) for one in found.tests],
        "checks": [{"line": one, "on": day(one.record.checked_on)} for one in found.checks],
        "inspected": [
            {"row": one, "on": day(one.done_on), "lines": list(one.lines.all())}
            for one in found.inspections
        ],
        "restored": list(found.restored.items()),
        "wrong": [
            {"row": one.row, "where": where(one.row), "found_on": day(one.row.found_on),
             "told": told_words(one.told, zone)}
            for one in found.wrong
        ],
        "photos": list(found.photos.items()),
        "photo_count": found.photos.total(),
        "effluent": effluent(found.effluent, zone) if found.effluent else None,
        "signed": [signed(one, zone) for one in found.sealed],
        "unsigned": [waits(one, zone) for one in found.unsigned],
        "code_words": "",
    }  # fmt: skip


def effluent(found: OfDay, zone: str) -> dict[str, Any]:
    return {
        "lines": on_paper(found.lines, zone),
        "sure": sure(found.at_least),
        **told(found.balance),
    }


def notices(visit: Any, zone: str) -> list[str]:
    """Of a day that has not begun, or whose beginning was taken back."""
    return [
        ", ".join(filter(None, (one.told, instant(one.told_at, zone), one.how, one.reference)))
        for one in visit.notices.all()
    ]


def tested(one: Line) -> dict[str, Any]:
    test, band = one.record, band_of(one.record)
    return {
        "line": one,
        "points": [
            {
                "name": point.name,
                "percent": point.shown(band),
                "interval": " to ".join(percent(end, point.band or band) for end in point.interval)
                if point.interval
                else "",
                "limits": point.limits,
                "certainty": point.certainty,
            }
            for point in one.flow_points
        ],
        "band": f"{percent(band[0])} to {percent(band[1])} %",
        "what": what(test),
    }


def what(record: Any) -> str:
    """“Rack 1, FP-1, as found” or “tank T-1”."""
    if hasattr(record, "proportioner"):
        device = record.proportioner
        return f"{device.system.name}, {device.tag}, {record.get_phase_display().lower()}"
    return f"tank {record.tank.tag}"


def signed(one: Line, zone: str) -> dict[str, Any]:
    """A signature with the way to check its record; the code on paper leads to the same address."""
    seal = one.seal
    if seal is None:
        raise LookupError("Only a sealed record has a signature.")
    names = TESTS if hasattr(one.record, "proportioner") else CHECKS
    address = verify_address(seal)
    return {
        "line": one,
        "seal": seal,
        "what": what(one.record),
        "at": instant(seal.sealed_at, zone),
        "handed_in": handed_in(one, zone),
        "licence": ", ".join(filter(None, (seal.signer_qualification, seal.signer_number))),
        "digest": grouped(seal.digest),
        "address": address,
        "qr": qr(address),
        "report": reverse(names.page, args=[one.record.key]),
    }


def waits(one: Line, zone: str) -> dict[str, Any]:
    return {"what": what(one.record), "handed_in": handed_in(one, zone)}


def handed_in(one: Line, zone: str) -> str:
    by = one.record.handed_in_by
    return ", ".join(filter(None, (by.name if by else "", instant(one.record.handed_in_at, zone))))


urls: list[URLPattern] = [
    path("visits/<uuid:key>/report/", visit_report, name="visit_report"),
    path("visits/<uuid:key>/report-<slug:size>.pdf", visit_report_pdf, name="visit_report_pdf"),
]
