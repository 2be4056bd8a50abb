"""What every PDF of ours has to be, read back by pypdf, which is another hand than the renderer's.

ISO 19005-3 (PDF/A-3, level A) asks for tags, a language, embedded fonts, an output intent and the
part and level in the metadata; ISO 14289-1 (PDF/UA-1) for a title that is shown and for headings
that skip no level. Clause numbers from memory: 19005-3, 6.2.11.4 (fonts), 6.6.4 (identification),
6.7 (structure, language); 14289-1, 7.1 (title), 7.4 (headings).
"""

import io
import re
from collections.abc import Collection
from typing import Any

from pypdf import PdfReader
from pypdf.generic import IndirectObject

POINTS = {"a4": (595, 842), "letter": (612, 792)}
FAMILIES = {"Itm-Text", "Itm-Mono", "Itm", "Itm-Signs"}


def read(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data))


def objects(reader: PdfReader) -> list[Any]:
    numbers = range(1, int(reader.trailer["/Size"]))
    return [IndirectObject(n, 0, reader).get_object() for n in numbers]


def elements(reader: PdfReader, kind: str) -> list[Any]:
    """Elements of the structure tree with this tag."""
    return [o for o in objects(reader) if isinstance(o, dict) and o.get("/S") == kind]


def pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in read(data).pages]


def text(data: bytes) -> str:
    """Everything, with one space wherever a line was broken."""
    return re.sub(r"\s+", " ", " ".join(pages(data)))


def require_archival(
    data: bytes, *, size: str = "a4", plotted: int | Collection[int] = 0
) -> PdfReader:
    """Of any sheet: archival, tagged, in English, entitled, with its own fonts, of its size, with
    numbered pages that all hold something, and with a head for every cell. `plotted` are the pages
    with a plot, whose words stand in coordinates of their own that pypdf does not follow."""
    reader = read(data)
    root = reader.trailer["/Root"]
    xmp = root["/Metadata"].get_data().decode()
    assert 'pdfaid:part="3"' in xmp
    assert 'pdfaid:conformance="A"' in xmp
    assert "/OutputIntents" in root
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    require_title(reader)
    assert "/Encrypt" not in reader.trailer
    _require_fonts(reader)
    _require_structure(reader)
    count = len(reader.pages)
    drawn = {plotted} if isinstance(plotted, int) else {*plotted}
    for number, page in enumerate(reader.pages, 1):
        box = page.mediabox
        assert (round(float(box.width)), round(float(box.height))) == POINTS[size]
        said = page.extract_text()
        if number not in drawn:
            _require_margin(page)
        assert f"page {number} of {count}" in said
        assert len(said) > 80, f"page {number} holds nothing but its foot"
    return reader


def require_title(reader: PdfReader) -> None:
    """In the list of the file and as `dc:title` in its XMP, where archives read it."""
    title, xmp = reader.metadata and reader.metadata.title, reader.xmp_metadata
    assert title
    assert xmp is not None
    assert list((xmp.dc_title or {}).values()) == [title]


def _require_margin(page: Any) -> None:
    """No text begins beyond the right margin, as it would in a table wider than the paper."""
    seen: list[float] = []

    def note(said: str, cm: Any, tm: Any, *_: Any) -> None:
        if said.strip():
            seen.append(float(tm[4] * cm[0] + tm[5] * cm[2] + cm[4]))

    page.extract_text(visitor_text=note)
    assert seen
    assert max(seen) < float(page.mediabox.width) - 40, max(seen)


def _require_fonts(reader: PdfReader) -> None:
    found = objects(reader)
    described = [o for o in found if isinstance(o, dict) and o.get("/Type") == "/FontDescriptor"]
    assert described
    for one in described:
        assert any(name in one for name in ("/FontFile2", "/FontFile3")), one
    fonts = [o for o in found if isinstance(o, dict) and o.get("/Type") == "/Font"]
    names = {str(font["/BaseFont"]).partition("+")[2] for font in fonts}
    assert {name.rsplit("-", 1)[0].replace("-Semi", "") for name in names} <= FAMILIES, names


def _require_structure(reader: PdfReader) -> None:
    assert "/StructTreeRoot" in reader.trailer["/Root"]
    named = {str(head["/ID"]) for head in elements(reader, "/TH")}
    for cell in elements(reader, "/TD"):
        heads = {str(head) for head in cell["/A"]["/Headers"]}
        assert heads
        assert heads <= named
    for figure in elements(reader, "/Figure"):
        assert figure.get("/Alt"), figure
    assert len(elements(reader, "/H1")) == 1
    assert elements(reader, "/H2")


def require_no_orphan_heads(data: bytes, heads: tuple[str, ...]) -> None:
    """No page ends with one of these headings, which would stand above nothing."""
    for said in pages(data):
        lines = [line.strip() for line in said.splitlines() if line.strip()]
        body = [line for line in lines if not re.match(r"page \d+ of \d+", line)]
        foot = 2  # the words of the foot come last; a long one takes two lines
        assert not {*body[-1 - foot :]} & {*heads}, body[-4:]
