"""What whoever holds a link reads: no account, nothing to press, and nothing else of the product.

The secret stands in the address of every page, because a reader without an account has nothing else
to show. It reaches no other server (`Referrer-Policy`) and no log (`core.logs`).
"""

from collections.abc import Callable
from functools import wraps
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.core.callers import caller
from itm.core.errors import NotFound, Refused
from itm.core.measures import Measures, reading_in
from itm.registry import links
from itm.registry.links import Reader
from itm.reports import queries as reports
from itm.reports.choices import KEPT, SIZES, TYPED, UNITS
from itm.reports.queries import SealedRecord
from itm.reports.render import foot_style
from itm.reports.services import for_reader, report_of
from itm.trends import shared
from itm.web.guard import unlisted
from itm.web.reports import CHECKS, TESTS, Names, copy_file, pdf_of, sheet_page

STATUS = {"too_many_tries": 429}


def by_link(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponseBase]:
    """The view gets the reader in place of the secret, and a link that opens nothing says why."""

    @wraps(view)
    @unlisted
    @require_GET
    def opened(request: HttpRequest, token: str, **named: Any) -> HttpResponse:
        try:
            reader = links.reader_of(token, caller=caller(request), now=timezone.now())
        except NotFound:
            sentence = "This link was never made, or its address is not complete."
            return render(request, "shared/over.html", {"sentence": sentence}, status=404)
        except Refused as refusal:
            context = {"sentence": refusal.sentence}
            status = STATUS.get(refusal.code, 410)
            return render(request, "shared/over.html", context, status=status)
        return view(request, reader, token, **named)

    return opened


@by_link
def shared_sites(request: HttpRequest, reader: Reader, token: str) -> HttpResponse:
    links.note_use(reader, "All sites", timezone.now())
    context = {"link": reader.link, "token": token, "lines": shared.site_lines(reader.actor)}
    return render(request, "shared/sites.html", context)


@by_link
def shared_site(request: HttpRequest, reader: Reader, token: str, key: UUID) -> HttpResponse:
    now = timezone.now()
    page = shared.site_page(reader.actor, key, now)
    links.note_use(reader, page.site.name, now)
    context = {
        "link": reader.link,
        "token": token,
        "page": page,
        "most": shared.MOST,
        "crumbs": [("All sites", reverse("shared_sites", args=[token])), (page.site.name, "")],
    }
    return render(request, "shared/site.html", context)


def read(reader: Reader, key: UUID, names: Names) -> SealedRecord:
    return names.read(reader.actor, key)


def shared_names(names: Names) -> dict[str, str]:
    """The addresses of one kind of record under a link."""
    kind = "test" if names is TESTS else "check"
    return {
        "page": f"shared_{kind}",
        "foot": f"shared_{kind}_foot",
        "pdf": f"shared_{kind}_pdf",
        "copy": f"shared_{kind}_copy",
    }


@by_link
def shared_record(
    request: HttpRequest, reader: Reader, token: str, key: UUID, names: Names
) -> HttpResponse:
    """The printable page of a sealed record, from its bytes, in the units that are asked for."""
    record = read(reader, key, names)
    units, to = units_asked(request), shared_names(names)
    with reading_in(Measures.SI if units == TYPED else units):
        sheet, said = (report_of(record), "") if units == TYPED else for_reader(record)
        links.note_use(reader, f"Record {record.seal.number}, {sheet.site}", timezone.now())
        here = reverse(to["page"], args=[token, key])
        bar = [("Back to the site", reverse("shared_site", args=[token, record.seal.site.key]))]
        bar += [(words, with_units(here, one)) for one, words in UNITS.items() if one != units]
        if reports.report_bytes(record.seal) is not None:
            bar.append(("Report as PDF", reverse(to["pdf"], args=[token, key])))
        for size, words in SIZES.items():
            if (size, units) != (KEPT, TYPED):
                address = reverse(to["copy"], args=[token, key, size])
                bar.append((copy_words(words, units), with_units(address, units)))
        foot = reverse(to["foot"], args=[token, key])
        return sheet_page(request, record, sheet, foot=foot, bar=bar, units=said)


def units_asked(request: HttpRequest) -> str:
    """One of UNITS; whoever asks for none, or for others, reads what was typed."""
    asked = request.GET.get("units", TYPED)
    return asked if asked in UNITS else TYPED


def with_units(address: str, units: str) -> str:
    return address if units == TYPED else f"{address}?units={units}"


def copy_words(size: str, units: str) -> str:
    return f"Copy on {size}" if units == TYPED else f"Copy on {size}, in {units.upper()} units"


@by_link
def shared_foot(
    request: HttpRequest, reader: Reader, token: str, key: UUID, names: Names
) -> HttpResponse:
    record = read(reader, key, names)
    return HttpResponse(foot_style(report_of(record)), content_type="text/css; charset=utf-8")


@by_link
def shared_pdf(
    request: HttpRequest, reader: Reader, token: str, key: UUID, names: Names
) -> HttpResponse:
    """The file where it is made; a reader presses nothing, so else the page that prints alike."""
    record = read(reader, key, names)
    made = reports.report_bytes(record.seal)
    if made is None:
        return redirect(shared_names(names)["page"], token, key)
    links.note_use(reader, f"Record {record.seal.number} as PDF", timezone.now())
    return pdf_of(record, made)


@by_link
def shared_copy(
    request: HttpRequest, reader: Reader, token: str, key: UUID, size: str, names: Names
) -> HttpResponse:
    """On paper and in units of one's choice, which the address holds: who reads under a link has no
    account that could remember them."""
    record = read(reader, key, names)
    made = copy_file(f"link-{reader.link.pk}", record, size, units_asked(request))
    links.note_use(reader, f"Record {record.seal.number} as PDF", timezone.now())
    return made


def addresses(at: str, names: Names) -> list[URLPattern]:
    to, given = shared_names(names), {"names": names}
    start = f"shared/<str:token>/{at}/<uuid:key>/"
    return [
        path(start, shared_record, given, name=to["page"]),
        path(f"{start}foot.css", shared_foot, given, name=to["foot"]),
        path(f"{start}report.pdf", shared_pdf, given, name=to["pdf"]),
        path(f"{start}report-<slug:size>.pdf", shared_copy, given, name=to["copy"]),
    ]


urls: list[URLPattern] = [
    path("shared/<str:token>/", shared_sites, name="shared_sites"),
    path("shared/<str:token>/sites/<uuid:key>/", shared_site, name="shared_site"),
    *addresses("tests", TESTS),
    *addresses("checks", CHECKS),
]
