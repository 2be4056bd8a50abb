"""Files go up and come down through their pages: bounded, checked, sealed off."""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from itm.registry import files
from itm.registry.models import Attachment
from itm.web import uploading
from tests.conftest import Scene
from tests.factories import AttachmentFactory, SiteFactory
from tests.itm.registry.pictures import PDF, picture


def chosen(data: bytes, name: str) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type="text/html")  # what the browser claims


def test_contractor_attaches_several_files_to_a_tank_and_everybody_there_reads_them(
    client: Client, sign_in: Any, scene: Scene
) -> None:
    page, tank = sign_in(client, scene.contractor), f"/tanks/{scene.tank.key}/"
    url = f"/sites/{scene.site.key}/attachments/new/?at=tank:{scene.tank.key}"
    assert f'href="{url}"' in page.get(tank).content.decode()
    form = page.get(url).content.decode()
    assert 'enctype="multipart/form-data"' in form
    assert "multiple" in form
    photo = picture()
    answer = page.post(
        url, {"caption": "sight glass", "chosen": [chosen(photo, "a.png"), chosen(PDF, "b.pdf")]}
    )
    assert answer["Location"] == f"{tank}#attachments"
    rows = {row.name: row for row in Attachment.objects.all()}
    assert set(rows) == {"a.png", "b.pdf"}
    for who in (scene.owner, scene.contractor, scene.authority):
        page = sign_in(client, who)
        text = page.get(tank).content.decode()
        assert f'src="/attachments/{rows["a.png"].key}/preview/"' in text
        assert 'alt="sight glass"' in text
        got = page.get(f"/attachments/{rows['a.png'].key}/file/")
        assert b"".join(got.streaming_content) == photo
    listed = page.get(f"/attachments/?site={scene.site.key}").content.decode()
    assert "a.png" in listed
    assert f'href="{tank}#attachments"' in listed
    papers = page.get("/attachments/?kind=application/pdf").content.decode()
    assert ("a.png" in papers, "b.pdf" in papers) == (False, True)


@pytest.mark.parametrize(
    ("data", "name", "how"),
    [(picture(), "a.png", "inline"), (PDF, "b.pdf", "attachment")],
)
def test_file_is_served_as_what_it_is_and_runs_nothing(
    enter: Any, scene: Scene, data: bytes, name: str, how: str
) -> None:
    page = enter("owner")
    page.post(f"/sites/{scene.site.key}/attachments/new/", {"chosen": chosen(data, name)})
    row = Attachment.objects.get()
    got = page.get(f"/attachments/{row.key}/file/")
    assert got["Content-Type"] == row.content_type
    assert got["Content-Disposition"] == f'{how}; filename="{name}"'
    assert got["X-Content-Type-Options"] == "nosniff"
    assert got["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert got["Cache-Control"] == "private, no-cache"
    assert "itm" not in got.get("Set-Cookie", "")
    preview = page.get(f"/attachments/{row.key}/preview/")
    assert preview.status_code == (200 if row.is_picture else 404)


def test_name_that_would_break_the_header_is_quoted(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    hostile = 'a"; filename=evil.html\r\nX-Evil: 1.png'
    page.post(f"/sites/{scene.site.key}/attachments/new/", {"chosen": chosen(picture(), hostile)})
    got = page.get(f"/attachments/{Attachment.objects.get().key}/file/")
    assert "X-Evil" not in got
    assert got["Content-Disposition"].startswith("inline; filename")
    assert "\n" not in got["Content-Disposition"]


def test_too_large_a_file_is_dropped_while_it_arrives_and_the_caption_stays(
    enter: Any, scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (files, uploading):
        monkeypatch.setattr(module, "LARGEST", 200_000)
    page, url = enter("owner"), f"/sites/{scene.site.key}/attachments/new/"
    answer = page.post(
        url,
        {
            "chosen": [chosen(bytes(300_000), "huge.png"), chosen(picture(), "fine.png")],
            "caption": "kept caption",
        },
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "“huge.png” is larger than" in text
    assert 'value="kept caption"' in text
    assert not Attachment.objects.exists()


def test_form_says_what_is_wrong_with_which_file(enter: Any, scene: Scene) -> None:
    page, url = enter("owner"), f"/sites/{scene.site.key}/attachments/new/"
    assert "Choose at least one file." in page.post(url, {"caption": ""}).content.decode()
    for data, sentence in (
        (b"<script>alert(1)</script>", "neither a JPEG, PNG or WebP picture nor a PDF"),
        (b"", "“valve.png” is empty."),
        (picture()[:500], "cannot be read as a picture"),
    ):
        answer = page.post(url, {"chosen": chosen(data, "valve.png")})
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
    assert not Attachment.objects.exists()


def test_thing_of_another_site_in_the_address_is_not_found(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    elsewhere = SiteFactory(owner=scene.owner.organisation)
    for at in (f"tank:{scene.tank.key}", "tank:x", "pump:1", "site:"):
        url = f"/sites/{elsewhere.key}/attachments/new/?at={at}"
        assert page.get(url).status_code == 404, at


def test_withdrawing_says_why_and_is_undone(enter: Any, scene: Scene) -> None:
    row = AttachmentFactory(site=scene.site)
    page, site = enter("owner"), f"/sites/{scene.site.key}/"
    url = f"/attachments/{row.key}/withdraw/"
    assert f'href="{url}"' in page.get(site).content.decode()
    assert "This field is required." in page.post(url, {"why": ""}).content.decode()
    page.post(url, {"why": "shows a number plate"})
    page.get(site)
    text = page.get(site).content.decode()
    assert "shows a number plate" in text
    assert f"/attachments/{row.key}/file/" not in text
    assert page.get(f"/attachments/{row.key}/file/").status_code == 404
    page.post(f"/attachments/{row.key}/bring-back/")
    assert f"/attachments/{row.key}/file/" in page.get(site).content.decode()


def test_scanned_certificate_hangs_on_its_calibration_and_is_found(
    client: Client, sign_in: Any, scene: Scene
) -> None:
    page, there = sign_in(client, scene.contractor), f"/instruments/{scene.instrument.key}/"
    paper = scene.instrument.certificates.get()
    url = f"/certificates/{paper.key}/attachments/new/"
    assert f'href="{url}"' in page.get(there).content.decode()
    answer = page.post(url, {"caption": "as issued", "chosen": chosen(PDF, "scan.pdf")})
    assert answer["Location"] == f"{there}#attachments"
    row = Attachment.objects.get()
    text = page.get(there).content.decode()
    assert text.count(f'href="/attachments/{row.key}/file/"') == 2  # at its row, and in the list
    assert f"Certificate {paper.number}" in text
    assert f'href="{url}"' not in text
    listed = page.get("/attachments/").content.decode()
    assert f"{scene.instrument}, certificate {paper}" in listed
    assert f'href="{there}#attachments"' in listed
    found = page.get(f"/search/?find={scene.instrument.serial_number}").content.decode()
    assert f"/attachments/{row.key}/file/" in found
    page.post(f"/attachments/{row.key}/withdraw/", {"why": "of another meter"})
    assert f'href="{url}"' in page.get(there).content.decode()
    elsewhere = sign_in(client, scene.owner).get(f"/search/?find={scene.instrument.serial_number}")
    assert f"/attachments/{row.key}/file/" not in elsewhere.content.decode()


def test_paper_of_a_lot_stands_on_its_page_for_everybody_who_sees_the_lot(
    client: Client, sign_in: Any, scene: Scene
) -> None:
    lot = scene.tank.movements.first().lot
    there, url = f"/lots/{lot.key}/", f"/lots/{lot.key}/attachments/new/"
    page = sign_in(client, scene.owner)
    assert f'href="{url}"' in page.get(there).content.decode()
    refused = page.post(url, {"chosen": chosen(b"plain text", "notes.txt")})
    assert refused.status_code == 422
    assert "“notes.txt” is neither" in refused.content.decode()
    assert (
        page.post(url, {"chosen": chosen(PDF, "maker.pdf")})["Location"] == f"{there}#attachments"
    )
    row = Attachment.objects.get()
    for who in (scene.contractor, scene.authority):
        text = sign_in(client, who).get(there).content.decode()
        assert f'href="/attachments/{row.key}/file/"' in text
        assert f'href="{url}"' not in text
        assert f"/attachments/{row.key}/withdraw/" not in text
    at = f"/sites/{scene.site.key}/attachments/new/?at=lot:{lot.key}"
    assert sign_in(client, scene.owner).get(at).status_code == 404  # a lot is at no site
