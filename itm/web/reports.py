"""The report of a sealed record: as a page to print, and as the PDF that the worker made.

Every kind of record has the same three addresses under its own.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_http_methods

from itm.accounts.actor import Actor
from itm.core.figures import instant
from itm.core.measures import reader
from itm.reports import queries
from itm.reports.address import check_path
from itm.reports.choices import KEPT, SIZES, TYPED
from itm.reports.naming import file_name, thing
from itm.reports.queries import SealedRecord
from itm.reports.render import Sheet, foot_style, page_context
from itm.reports.services import copy_for, counted_as, for_reader, promise, report_of
from itm.web.guard import actor_of, signed_in
from itm.web.wrong import named_by

SOON, LATER = 4, 30  # seconds until the waiting page looks again, before and after a failure


@dataclass(frozen=True)
class Names:
    """The addresses of one kind: the record, its printable page, the foot of it, the PDF, and a
    copy of that for one reader."""

    record: str
    page: str
    foot: str
    pdf: str
    copy: str
    read: Callable[[Actor, UUID], SealedRecord]


TESTS = Names("test", "report", "report_foot", "report_pdf", "report_copy", queries.sealed_record)
CHECKS = Names("check", "check_report", "check_report_foot", "check_report_pdf",
               "check_report_copy", queries.sealed_check)  # fmt: skip


@signed_in
@require_GET
def report(request: HttpRequest, key: UUID, names: Names = TESTS) -> HttpResponse:
    """The printable page, in the reader's units; it needs no PDF library and never waits."""
    actor = actor_of(request)
    record = names.read(actor, key)
    sheet, units = for_reader(record)
    bar = [
        ("Back to the record", reverse(names.record, args=[key])),
        ("Report as PDF", reverse(names.pdf, args=[key])),
        *copy_links(units, lambda size: reverse(names.copy, args=[key, size])),
    ]
    found = named_by(actor, record.seal.record)
    stood_at = instant(timezone.now(), record.document["site"]["time_zone"])
    beside = {"found": found, "stood_at": stood_at}
    foot = reverse(names.foot, args=[key])
    return sheet_page(request, record, sheet, foot=foot, bar=bar, units=units, **beside)


def copy_links(units: str, address: Callable[[str], str]) -> list[tuple[str, str]]:
    """Words and address of each copy that differs from the report that is kept, which is on A4 and
    as typed; `address` makes one of the size."""
    sizes = SIZES if units else {size: words for size, words in SIZES.items() if size != KEPT}
    ending = ", in your units" if units else ""
    return [(f"Copy on {words}{ending}", address(size)) for size, words in sizes.items()]


def sheet_page(
    request: HttpRequest, record: SealedRecord, sheet: Sheet, *, foot: str,
    bar: list[tuple[str, str]], **beside: Any,
) -> HttpResponse:  # fmt: skip
    """The printable page of a record that the reader may see; `beside` is no part of the record,
    so the page alone has it."""
    later = queries.corrected_by(record.seal)
    context = page_context(
        sheet,
        styles=[static("report.css"), foot],
        bar=bar,
        later=later and {"number": later.number, "url": check_path(later)},
        **beside,
    )
    return render(request, sheet.template, context)


@signed_in
@require_GET
def report_foot(request: HttpRequest, key: UUID, names: Names = TESTS) -> HttpResponse:
    """What the browser's printer puts at the foot of each page of this report."""
    record = names.read(actor_of(request), key)
    return HttpResponse(foot_style(report_of(record)), content_type="text/css; charset=utf-8")


@signed_in
@require_http_methods(["GET", "POST"])
def report_pdf(request: HttpRequest, key: UUID, names: Names = TESTS) -> HttpResponse:
    """The file if it is made; else a page that says so and looks again. POST tries again now."""
    record = names.read(actor_of(request), key)
    if request.method == "POST":
        promise(record.seal, now=True)
        return redirect(names.pdf, key=key)
    made = queries.report_bytes(record.seal)
    if made is None:
        promise(record.seal)
        return waiting(request, record, key, names)
    return pdf_of(record, made)


@signed_in
@require_GET
def report_copy(request: HttpRequest, key: UUID, size: str, names: Names = TESTS) -> HttpResponse:
    """Made while the reader waits: paper of this size, in the reader's units."""
    actor = actor_of(request)
    return copy_file(counted_as(actor), names.read(actor, key), size, reader())


def copy_file(whose: str, record: SealedRecord, size: str, units: str) -> HttpResponse:
    """`whose` copies are counted. Raises TooMany."""
    if size not in SIZES:
        raise Http404
    of = size if units == TYPED else f"{size}-{units}"
    return pdf_of(record, copy_for(whose, record, size, units), of=of)


def pdf_of(record: SealedRecord, made: bytes, *, of: str = "") -> HttpResponse:
    name = content_disposition_header(False, file_name(record, of)) or "inline"
    return HttpResponse(
        made,
        content_type="application/pdf",
        headers={"Content-Disposition": name, "Cache-Control": "private, no-cache"},
    )


def waiting(request: HttpRequest, record: SealedRecord, key: UUID, names: Names) -> HttpResponse:
    made = queries.making(record.seal)
    what, tag = thing(record.document)
    context = {
        "key": key,
        "names": names,
        "making": made,
        "seconds": LATER if made.tries else SOON,
        "site": record.document["site"]["name"],
        "thing": f"{what} {tag}",
        "zone": record.document["site"]["time_zone"],
        "crumbs": [("Record", reverse(names.record, args=[key])), ("Report", "")],
    }
    return render(request, "report/waiting.html", context, status=202)


def addresses(at: str, names: Names) -> list[URLPattern]:
    View = Callable[..., HttpResponseBase]
    views: list[tuple[str, View, str]] = [
        ("report/", report, names.page),
        ("report/foot.css", report_foot, names.foot),
        ("report.pdf", report_pdf, names.pdf),
        ("report-<slug:size>.pdf", report_copy, names.copy),
    ]
    return [
        path(f"{at}/<uuid:key>/{end}", view, {"names": names}, name=name)
        for end, view, name in views
    ]


urls: list[URLPattern] = [*addresses("tests", TESTS), *addresses("checks", CHECKS)]
