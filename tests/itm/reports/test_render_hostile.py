"""What a stranger types into a note stays text, and the renderer reaches nothing elsewhere."""

import io
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from pypdf import PdfReader

from itm.core.errors import Refused
from itm.reports.pdf import Enclosed, make
from itm.reports.render import html_for_pdf, pdf
from tests.itm.reports import sample

SECRET = "a line that only the disk knows"


class Listener:
    """A server that would be asked if anything were fetched."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        listener = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                listener.asked.append(self.path)
                self.send_response(302 if self.path == "/away" else 200)
                self.send_header("Location", "/landed")
                self.end_headers()

            def log_message(self, *args: object) -> None:
                pass

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


@pytest.fixture(scope="module")
def listener() -> Iterator[Listener]:
    one = Listener()
    yield one
    one.server.shutdown()
    one.server.server_close()


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    file = tmp_path / "secret.txt"
    file.write_text(SECRET)
    return file


ATTACKS = (
    '<link rel=attachment href="{file}">',
    '<a rel=attachment href="{file}">x</a>',
    '<link rel=stylesheet href="{web}/style.css">',
    '<link rel=stylesheet href="{file}">',
    '<img src="{web}/image.png">',
    '<img src="{web}/away">',
    '<img src="{file}">',
    '<img src="data:image/gif;base64,R0lGODlhAQABAAAAACH5BAEKAAEALAAAAAABAAEAAAICTAEAOw==">',
    '<img src="asset:../../settings.py">',
    "<style>body {{ background: url({web}/background.png) }}</style>",
    "<style>@import url({web}/import.css);</style>",
    "<style>@font-face {{ font-family: X; src: url({web}/font.woff2) }} p {{ font-family: X }}"
    "</style>",
    '<p style="list-style-image: url({file}); display: list-item">x</p>',
    '<object data="{file}"></object>',
    '<embed src="{web}/embed.png">',
)
# Inside an SVG the refusal ends in a missing picture and no error: no leak either.
IN_SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><image href="{web}/svg.png" '
    'width="9" height="9"/></svg>',
    '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><image href="{file}" '
    'width="9" height="9"/></svg>',
    '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><use href="{web}/use.svg#a"/>'
    "</svg>",
)


def direct(body: str) -> bytes:
    page = f'<html lang="en"><head><title>x</title></head><body><p>x</p>{body}</body></html>'
    enclosed = Enclosed(b"{}", dated="2026-06-18T17:45:00Z", about="x")
    return make(page, foot="", identifier="0" * 64, enclosed=enclosed)


def everything(data: bytes) -> bytes:
    """All streams of a PDF, decoded, and the strings between them."""
    reader = PdfReader(io.BytesIO(data))
    numbers = range(1, int(reader.trailer["/Size"]))
    parts = [data]
    for number in numbers:
        one = reader.get_object(number)
        parts.append(str(one).encode())
        if hasattr(one, "get_data"):
            parts.append(one.get_data())
    return b"\n".join(parts)


@pytest.mark.parametrize("attack", ATTACKS)
def test_the_renderer_ends_at_any_foreign_address(
    attack: str, listener: Listener, secret: Path
) -> None:
    with pytest.raises(Refused) as info:
        direct(attack.format(web=listener.address, file=secret.as_uri()))
    assert info.value.code == "foreign_address"
    assert listener.asked == []


@pytest.mark.parametrize("attack", IN_SVG)
def test_a_picture_in_a_picture_fetches_nothing(
    attack: str, listener: Listener, secret: Path
) -> None:
    data = direct(attack.format(web=listener.address, file=secret.as_uri()))
    assert SECRET.encode() not in everything(data)
    assert listener.asked == []


def test_the_same_page_without_an_attack_is_made() -> None:
    assert direct("<p>quiet</p>").startswith(b"%PDF-1.7")


def test_hostile_notes_are_printed_as_the_text_they_are(listener: Listener, secret: Path) -> None:
    notes = " ".join((*ATTACKS, *IN_SVG, "</td></table><script>alert(1)</script>"))
    notes = notes.format(web=listener.address, file=secret.as_uri())
    form = sample.document()
    form["test"]["notes"] = form["bench"]["notes"] = form["site"]["name"] = notes
    form["restoration"][0]["text"] = form["bench"]["bottles"][5]["label"] = notes
    form["bench"]["bottles"][1]["label"] = form["runs"][0]["flow_point"] = notes
    paper = sample.paper_of(form)
    page = html_for_pdf(paper)
    assert "<link rel=attachment" not in page
    assert "<img" not in page
    assert "<script" not in page
    data, digest = sample.seal_of(form)
    made = pdf(paper, record=data, digest=digest)
    reader = PdfReader(io.BytesIO(made))
    assert list(reader.attachments) == ["record.json"]
    assert SECRET.encode() not in everything(made)
    assert listener.asked == []
    shown = "".join(page.extract_text() for page in reader.pages)
    assert "<script>alert(1)</script>" in shown.replace("\n", "")
