"""The sheet of a year, on the page and as a PDF."""

import io

import pytest
from django.urls import reverse
from pypdf import PdfReader

from tests.deeds import tested
from tests.factories import TODAY


def test_the_page_prints_what_was_sealed_and_for_whom(client, sign_in, scene):
    sealed = tested(scene)
    sign_in(client, scene.authority)
    page = client.get(reverse("site_year", args=[scene.site.key, TODAY.year])).content.decode()
    assert scene.authority.organisation.name in page
    assert sealed.seal.digest in page
    assert "A chain that was written anew would not hold its digest" in page
    assert "was signed by nobody" in page


@pytest.mark.parametrize(("size", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_the_pdf_is_archival_tagged_and_of_its_size(client, sign_in, scene, size, points):
    sealed = tested(scene)
    sign_in(client, scene.owner)
    got = client.get(reverse("site_year_pdf", args=[scene.site.key, TODAY.year, size]))
    reader = PdfReader(io.BytesIO(got.content))
    box = reader.pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == points
    assert "/StructTreeRoot" in reader.trailer["/Root"]
    assert "pdfaid" in reader.trailer["/Root"]["/Metadata"].get_data().decode()
    text = " ".join(page.extract_text() for page in reader.pages)
    assert sealed.seal.digest[:20] in text.replace("\n", "")
    assert "page 1 of" in text


def test_a_year_before_the_site_and_one_to_come_are_not_found(client, sign_in, scene):
    sign_in(client, scene.owner)
    for year in (1900, 2999):
        assert client.get(reverse("site_year", args=[scene.site.key, year])).status_code == 404
    odd = reverse("site_year_pdf", args=[scene.site.key, TODAY.year, "a0"])
    assert client.get(odd).status_code == 404


def test_a_hostile_note_is_text_in_the_sheet_too(client, sign_in, scene):
    scene.site.address = '<img src="file:///etc/passwd"><script>alert(1)</script>'
    scene.site.save(by=scene.owner)
    sign_in(client, scene.owner)
    got = client.get(reverse("site_year_pdf", args=[scene.site.key, TODAY.year, "a4"]))
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(got.content)).pages)
    assert "<script>alert(1)</script>" in text.replace("\n", "")
