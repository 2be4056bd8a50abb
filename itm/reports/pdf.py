"""WeasyPrint, held short: it gets our stylesheet and fonts, and nothing else from anywhere.

Import this module only where a PDF is made: without Pango the import fails.
"""

import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from weasyprint import CSS, HTML, Attachment
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from itm.core.errors import Refused

# They would tell of every line of the sheet that is meant for screens, and of every table cut.
for talkative in ("weasyprint", "fontTools"):
    logging.getLogger(talkative).setLevel(logging.ERROR)

SCHEME = "asset:"
FONTS = "vendor/fonts/atkinson-hyperlegible"
ASSETS = {
    "report.css": "text/css",
    "paper.css": "text/css",
    f"{FONTS}-next-latin-wght-normal.woff2": "font/woff2",
    f"{FONTS}-next-latin-ext-wght-normal.woff2": "font/woff2",
    f"{FONTS}-mono-latin-wght-normal.woff2": "font/woff2",
    "vendor/fonts/noto-sans-latin-400-normal.woff2": "font/woff2",
}


@dataclass(frozen=True)
class Enclosed:
    """The sealed record as a file inside the PDF."""

    record: bytes
    dated: str  # ISO 8601
    about: str


class OwnFilesOnly(URLFetcher):
    """Answers `asset:` names from a fixed list and ends the rendering at any other address."""

    def __init__(self) -> None:
        super().__init__(allowed_protocols=(), allow_redirects=False, fail_on_errors=True)

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        name = url.removeprefix(SCHEME)
        if not url.startswith(SCHEME) or name not in ASSETS:
            raise FatalURLFetchingError(f"not one of our own files: {url[:200]}")
        return URLFetcherResponse(url, asset(name), {"Content-Type": ASSETS[name]})


@cache
def asset(name: str) -> bytes:
    found = finders.find(name)
    if not isinstance(found, str):
        raise FileNotFoundError(f"the static file {name} is missing")
    data = Path(found).read_bytes()
    if name.endswith(".css"):
        # Addresses in the sheet are relative to the static folder; here each is an asset.
        return data.replace(b'url("', f'url("{SCHEME}'.encode())
    return data


@contextmanager
def fonts_dated(at: datetime) -> Iterator[None]:
    """Cut-down fonts carry the time they were cut, unless the build has a date of its own."""
    before = os.environ.get("SOURCE_DATE_EPOCH")
    os.environ["SOURCE_DATE_EPOCH"] = str(int(at.timestamp()))
    try:
        yield
    finally:
        if before is None:
            del os.environ["SOURCE_DATE_EPOCH"]
        else:
            os.environ["SOURCE_DATE_EPOCH"] = before


def make(html: str, *, foot: str, identifier: str, enclosed: Enclosed) -> bytes:
    """HTML to an archival, tagged PDF. Raises Refused foreign_address."""
    fetcher, fonts = OwnFilesOnly(), FontConfiguration()
    dated = datetime.fromisoformat(enclosed.dated)
    attached = Attachment(
        string=enclosed.record,
        name="record.json",
        description=enclosed.about,
        created=dated,
        modified=dated,
        relationship="Data",
        url_fetcher=fetcher,
    )
    try:
        with fonts_dated(dated):
            made: bytes = HTML(string=html, url_fetcher=fetcher).write_pdf(
                font_config=fonts,
                stylesheets=[CSS(string=foot, url_fetcher=fetcher, font_config=fonts)],
                attachments=[attached],
                pdf_variant="pdf/a-3a",
                pdf_identifier=identifier.encode(),
            )
    # It is no Exception, so that the library itself cannot swallow it; a job must be able to.
    except FatalURLFetchingError as error:
        raise Refused(
            "foreign_address", f"The report asked for a file from elsewhere: {error}."
        ) from error
    return made


def make_sheet(html: str, *, page: str) -> bytes:
    """HTML to an archival, tagged PDF with nothing enclosed. Raises Refused foreign_address."""
    fetcher, fonts = OwnFilesOnly(), FontConfiguration()
    try:
        made: bytes = HTML(string=html, url_fetcher=fetcher).write_pdf(
            font_config=fonts,
            stylesheets=[CSS(string=page, url_fetcher=fetcher, font_config=fonts)],
            pdf_variant="pdf/a-3a",
        )
    except FatalURLFetchingError as error:
        raise Refused(
            "foreign_address", f"The sheet asked for a file from elsewhere: {error}."
        ) from error
    return made
