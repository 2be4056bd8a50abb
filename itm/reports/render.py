"""A report as HTML for the page and as PDF for keeping. The PDF reaches nothing but our own files.

WeasyPrint needs Pango, which may be missing; so it is imported only when a PDF is made, and the
printable page does without.
"""

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.template.loader import render_to_string

from itm.core.errors import Refused
from itm.reports.content import Paper
from itm.reports.content_check_paper import CheckPaper

log = logging.getLogger(__name__)
Sheet = Paper | CheckPaper

PANGO = (
    "The PDF cannot be made: the library Pango is missing on the server. Whoever runs it installs "
    "the packages libpango-1.0-0, libpangoft2-1.0-0 and libharfbuzz-subset0. The printable page "
    "works without them."
)


def page_context(paper: Sheet, *, styles: list[str], **around: Any) -> dict[str, Any]:
    """What the one template takes; the PDF has no use for the plot of a narrow screen."""
    return {"paper": paper, "figure": paper.figure, "styles": styles, **around}


@dataclass(frozen=True)
class Copy:
    """A report printed once more for one reader, beside the one that is kept."""

    size: str  # one of SIZES, in words
    units: str  # the sentence that says in which units it is; empty for those that were typed
    measures: str = ""  # their name
    later: Mapping[str, Any] | None = None  # number and address of the record that corrects it

    def identifier(self, digest: str) -> str:
        """Another for each sheet that is not alike."""
        corrected = str(self.later["number"]) if self.later else ""
        return " ".join((digest, self.size, self.measures, corrected))


def foot_style(paper: Sheet, size: str = "") -> str:
    """A stylesheet that prints the record's own words at the foot of each page; without a size the
    printer or the renderer takes its own, which is A4 for the report that is kept."""
    sized = f"size: {size}; " if size else ""
    return f'@page {{ {sized}@bottom-left {{ content: "{css_text(paper.foot)}" }} }}\n'


def css_text(text: str) -> str:
    """Text inside a CSS string: whatever is no letter or digit of ASCII goes in by its code."""
    return "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in text)


def html_for_pdf(paper: Sheet, copy: Copy | None = None) -> str:
    later = copy.later if copy else None
    context = page_context(paper, styles=["asset:report.css"], copy=copy, later=later)
    figure = paper.figure and {"wide": paper.figure.wide, "caption": paper.figure.caption}
    return render_to_string(paper.template, {**context, "figure": figure})


def sheet_pdf(html: str, *, size: str, foot: str) -> bytes:
    """Paper to write on, or a summary of records: made at once for whoever asks, in a second or
    two, and kept by nobody.

    `size` is one of SIZES, in words. Raises Refused pango_missing, foreign_address.
    """
    require_pango()
    from itm.reports.pdf import make_sheet

    return make_sheet(html, page=page_style(size, foot))


def page_style(size: str, foot: str) -> str:
    return f'@page {{ size: {size}; @bottom-left {{ content: "{css_text(foot)}" }} }}\n'


def require_pango() -> None:
    """Raises Refused pango_missing."""
    try:
        import weasyprint  # noqa: F401 - the only question is whether it can be
    except (ImportError, OSError) as error:
        log.warning("the PDF library cannot be loaded: %s", error)
        raise Refused("pango_missing", PANGO) from error


def pdf(paper: Sheet, *, record: bytes, digest: str, copy: Copy | None = None) -> bytes:
    """The PDF of a report with its record inside. The same record gives the same bytes, and so does
    the same copy of it.

    That holds for one version of the libraries and fonts: seal the data, store the file.
    Raises Refused pango_missing, foreign_address.
    """
    require_pango()
    from itm.reports.pdf import Enclosed, make

    return make(
        html_for_pdf(paper, copy),
        foot=foot_style(paper, copy.size if copy else ""),
        identifier=copy.identifier(digest) if copy else digest,
        enclosed=Enclosed(record, dated=paper.sealed_at, about=f"{paper.title}, sealed record"),
    )
