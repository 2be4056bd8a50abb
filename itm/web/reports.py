"""The report of a sealed record: as a page to print, and as the PDF that the worker made."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import URLPattern, path, reverse
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_GET, require_http_methods

from itm.reports import queries
from itm.reports.queries import SealedRecord
from itm.reports.render import foot_style, page_context
from itm.reports.services import promise, report_of
from itm.web.guard import actor_of, signed_in

SOON, LATER = 4, 30  # seconds until the waiting page looks again, before and after a failure


@signed_in
@require_GET
def report(request: HttpRequest, key: UUID) -> HttpResponse:
    """The printable page; it needs no PDF library and never waits."""
    record = queries.sealed_record(actor_of(request), key)
    later = queries.corrected_by(record.seal)
    context = page_context(
        report_of(record),
        styles=[static("report.css"), reverse("report_foot", args=[key])],
        bar=[("Back to the record", reverse("test", args=[key])),
             ("Report as PDF", reverse("report_pdf", args=[key]))],
        later=later and {"number": later.number, "url": reverse("verify", args=[later.digest])},
    )  # fmt: skip
    return render(request, "report/report.html", context)


@signed_in
@require_GET
def report_foot(request: HttpRequest, key: UUID) -> HttpResponse:
    """What the browser's printer puts at the foot of each page of this report."""
    record = queries.sealed_record(actor_of(request), key)
    return HttpResponse(foot_style(report_of(record)), content_type="text/css; charset=utf-8")


@signed_in
@require_http_methods(["GET", "POST"])
def report_pdf(request: HttpRequest, key: UUID) -> HttpResponse:
    """The file if it is made; else a page that says so and looks again. POST tries again now."""
    record = queries.sealed_record(actor_of(request), key)
    if request.method == "POST":
        promise(record.seal, now=True)
        return redirect("report_pdf", key=key)
    made = queries.report_bytes(record.seal)
    if made is None:
        promise(record.seal)
        return waiting(request, record, key)
    name = content_disposition_header(False, file_name(record)) or "inline"
    return HttpResponse(
        made,
        content_type="application/pdf",
        headers={"Content-Disposition": name, "Cache-Control": "private, no-cache"},
    )


def waiting(request: HttpRequest, record: SealedRecord, key: UUID) -> HttpResponse:
    made = queries.making(record.seal)
    context = {
        "key": key,
        "making": made,
        "seconds": LATER if made.tries else SOON,
        "site": record.document["site"]["name"],
        "proportioner": record.document["proportioner"]["tag"],
        "zone": record.document["site"]["time_zone"],
        "crumbs": [("Record", reverse("test", args=[key])), ("Report", "")],
    }
    return render(request, "report/waiting.html", context, status=202)


def file_name(record: SealedRecord) -> str:
    document = record.document
    words = (
        document["site"]["name"],
        document["proportioner"]["tag"],
        document["test"]["tested_on"],
    )
    return f"{slugify(' '.join(words)) or 'report'}.pdf"


urls: list[URLPattern] = [
    path("tests/<uuid:key>/report/", report, name="report"),
    path("tests/<uuid:key>/report/foot.css", report_foot, name="report_foot"),
    path("tests/<uuid:key>/report.pdf", report_pdf, name="report_pdf"),
]
