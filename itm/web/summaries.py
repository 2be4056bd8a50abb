"""Sheets that list what is on record: as a page to print, and as a PDF made at once.

Nobody keeps them and nobody seals them, so each says for whom and when it was made. A module that
has one gathers what it prints and hands over a `Summary`; paper, units and names are settled here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.utils.http import content_disposition_header
from django.utils.text import slugify

from itm.accounts.actor import Actor
from itm.core.figures import instant
from itm.reports.choices import SIZES
from itm.reports.render import sheet_pdf

LONGEST_NAME = 80  # letters of the name of a file; own choice


@dataclass(frozen=True)
class Summary:
    """`template` extends report/summary.html; `title` names the sheet, the file and its foot."""

    template: str
    title: str
    about: str
    actor: Actor
    at: datetime
    zone: str = "UTC"
    told: dict[str, Any] = field(default_factory=dict)

    @property
    def context(self) -> dict[str, Any]:
        return {
            "title": self.title,
            "about": self.about,
            "reader": self.actor.organisation_name,
            "made_at": instant(self.at, self.zone),
            **self.told,
        }

    @property
    def foot(self) -> str:
        made = instant(self.at, self.zone)
        return f"{self.title}: made {made} for {self.actor.organisation_name}"

    @property
    def file_name(self) -> str:
        return f"{slugify(self.title)[:LONGEST_NAME].rstrip('-') or 'sheet'}.pdf"


def require_size(size: str) -> None:
    """Before anything is gathered: paper of another size is not found."""
    if size not in SIZES:
        raise Http404


def pdf_links(address: Any) -> list[tuple[str, str]]:
    """Words and address for each size of paper; `address` makes one of the size."""
    return [(f"PDF, {words}", address(size)) for size, words in SIZES.items()]


def summary_page(
    request: HttpRequest, summary: Summary, bar: Sequence[tuple[str, str]]
) -> HttpResponse:
    around = {"styles": [static("report.css")], "bar": bar}
    return render(request, summary.template, {**summary.context, **around})


def summary_file(summary: Summary, size: str) -> HttpResponse:
    """The PDF. Raises Refused pango_missing."""
    require_size(size)
    html = render_to_string(summary.template, {**summary.context, "styles": ["asset:report.css"]})
    made = sheet_pdf(html, size=SIZES[size], foot=summary.foot)
    name = content_disposition_header(False, summary.file_name) or "inline"
    return HttpResponse(
        made,
        content_type="application/pdf",
        headers={"Content-Disposition": name, "Cache-Control": "private, no-store"},
    )
