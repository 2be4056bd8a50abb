"""The PDF itself, read back with pypdf, an independent reader."""

import io
import re
import sys
from importlib.abc import MetaPathFinder
from typing import Any

import pytest
from pypdf import PdfReader
from pypdf.generic import IndirectObject

from itm.core.errors import Refused
from itm.reports.render import html_for_pdf, pdf
from tests.itm.reports import sample
from tests.itm.reports.archival import require_title


def made(form: dict[str, Any]) -> bytes:
    data, digest = sample.seal_of(form)
    return pdf(sample.paper_of(form), record=data, digest=digest)


@pytest.fixture(scope="module")
def form() -> dict[str, Any]:
    return sample.document()


@pytest.fixture(scope="module")
def data(form: dict[str, Any]) -> bytes:
    return made(form)


@pytest.fixture(scope="module")
def reader(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data))


def objects(reader: PdfReader) -> list[Any]:
    numbers = range(1, int(reader.trailer["/Size"]))
    return [IndirectObject(n, 0, reader).get_object() for n in numbers]


def elements(reader: PdfReader, kind: str) -> list[Any]:
    """Elements of the structure tree with this tag."""
    return [o for o in objects(reader) if isinstance(o, dict) and o.get("/S") == kind]


def test_two_renders_of_one_record_have_the_same_bytes(form: dict[str, Any], data: bytes) -> None:
    assert made(form) == data


def require_own_fonts(reader: PdfReader) -> set[str]:
    """Every font is embedded, and none is the machine's own."""
    fonts = [o for o in objects(reader) if isinstance(o, dict) and o.get("/Type") == "/Font"]
    descriptors = [
        o for o in objects(reader) if isinstance(o, dict) and o.get("/Type") == "/FontDescriptor"
    ]
    assert descriptors
    for descriptor in descriptors:
        assert any(name in descriptor for name in ("/FontFile2", "/FontFile3")), descriptor
    names = {str(font["/BaseFont"]).partition("+")[2] for font in fonts}
    families = {name.rsplit("-", 1)[0].replace("-Semi", "") for name in names}
    assert families <= {"Itm-Text", "Itm-Mono", "Itm"}, names
    return names


def test_every_font_is_embedded_and_ours(reader: PdfReader) -> None:
    assert "Itm-Text" in require_own_fonts(reader)


def test_the_micro_sign_comes_from_a_font_of_ours() -> None:
    form = sample.document()
    form["bench"]["instrument"]["unit"] = "µS/cm"
    form["bench"]["method"] = "conductivity"
    names = require_own_fonts(PdfReader(io.BytesIO(made(form))))
    assert "Itm-Signs" in names


def test_the_file_says_it_is_archival_tagged_and_in_english(reader: PdfReader) -> None:
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    xmp = root["/Metadata"].get_data().decode()
    # PDF/A-3, level A: ISO 19005-3, 6.6.4 (clause number from memory).
    assert 'pdfaid:part="3"' in xmp
    assert 'pdfaid:conformance="A"' in xmp
    assert "OutputIntents" in str(root.keys())
    require_title(reader)


def test_metadata_come_from_the_seal(reader: PdfReader, form: dict[str, Any]) -> None:
    info = reader.metadata
    assert info is not None
    assert info.title == "Proportioning test: Cais Novo terminal, FP-12, 18 Jun 2026"
    assert info.author == "Estuário Ensaios"
    assert info.creation_date is not None
    assert info.creation_date.isoformat() == "2026-06-18T17:45:00+00:00"
    assert info.modification_date == info.creation_date
    identifier = reader.trailer["/ID"][0]
    assert sample.seal_of(form)[1] in (
        identifier,
        getattr(identifier, "original_bytes", b"").decode(),
    )


def test_the_sealed_bytes_are_enclosed_as_data(reader: PdfReader, form: dict[str, Any]) -> None:
    assert dict(reader.attachments.items()) == {"record.json": [sample.seal_of(form)[0]]}
    files = [o for o in objects(reader) if isinstance(o, dict) and o.get("/Type") == "/Filespec"]
    assert [file["/AFRelationship"] for file in files] == ["/Data"]


def test_pictures_have_words_and_cells_have_heads(reader: PdfReader) -> None:
    alternatives = [str(figure.get("/Alt", "")) for figure in elements(reader, "/Figure")]
    assert all(alternatives)
    assert "disc" in alternatives  # the mark beside “in band”
    assert any(text.startswith("Calibration line:") for text in alternatives)
    assert any(text.startswith("QR code of the address") for text in alternatives)
    cells = elements(reader, "/TD")
    assert cells
    assert all(cell["/A"]["/Headers"] for cell in cells)  # each cell names its heads


def test_each_head_in_the_sheet_says_what_it_heads(form: dict[str, Any]) -> None:
    heads = re.findall(r"<th\b[^>]*>", html_for_pdf(sample.paper_of(form)))
    assert heads
    assert all(re.search(r' scope="(col|row)"', head) for head in heads)


def test_each_page_carries_number_site_and_digest(reader: PdfReader, form: dict[str, Any]) -> None:
    count = len(reader.pages)
    digest = sample.seal_of(form)[1]
    for number, page in enumerate(reader.pages, 1):
        text = page.extract_text()
        assert f"page {number} of {count}" in text
        assert "Cais Novo terminal · FP-12 · 18 Jun 2026 · record 7" in text
        assert digest[:16] in text


def test_nothing_lies_where_letter_paper_would_cut_it(reader: PdfReader) -> None:
    """A4 printed unscaled in the middle of Letter loses 8.8 mm at top and bottom (297 − 279.4)."""
    for page in reader.pages:
        heights: list[float] = []

        def note(text: str, cm: Any, tm: Any, *_: Any, seen: list[float] = heights) -> None:
            if text.strip():
                seen.append(float(tm[4] * cm[1] + tm[5] * cm[3] + cm[5]))

        page.extract_text(visitor_text=note)
        points_a_mm = 72 / 25.4
        low, high = 8.8 * points_a_mm, (297 - 8.8) * points_a_mm
        assert heights
        assert all(low < y < high for y in heights), (min(heights), max(heights))


def test_signatures_do_not_stand_alone_on_a_page(reader: PdfReader) -> None:
    page = next(p.extract_text() for p in reader.pages if "Signatures and seal" in p.extract_text())
    assert "Every step since it was prepared" in page
    assert "Henrique Moutinho" in page
    assert "Digest of this record" in page


def test_the_head_of_a_long_table_comes_again_on_the_next_page() -> None:
    many = tuple(("1.33400", "20.0") for _ in range(80))
    rows = [list(row) for row in sample.BENCH]
    rows[5][5] = many
    long = sample.document(tuple(tuple(row) for row in rows))
    pages = [p.extract_text() for p in PdfReader(io.BytesIO(made(long))).pages]
    with_head = [text for text in pages if "Set aside because" in text]
    assert len(with_head) >= 3


class Missing(MetaPathFinder):
    """What Python meets where the library, or what it loads, is not installed."""

    def __init__(self, error: Exception) -> None:
        self.error = error

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> None:
        if name == "weasyprint":
            raise self.error


@pytest.mark.parametrize(
    "error",
    [
        ModuleNotFoundError("No module named 'weasyprint'"),
        OSError("cannot load library 'libpango-1.0-0'"),
    ],
)
def test_without_pango_the_refusal_says_what_to_install(
    error: Exception, form: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(sys, "meta_path", [Missing(error), *sys.meta_path])
    with pytest.raises(Refused, match="libpangoft2") as info:
        made(form)
    assert info.value.code == "pango_missing"
