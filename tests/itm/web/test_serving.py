"""A file that the store has lost is answered by a sentence at every door, never by a fault."""

from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.archives import services as archives
from itm.archives.models import SiteArchive
from itm.core import outbox
from itm.doors.files import look_through
from itm.intake import uploads
from itm.reports import batches
from itm.reports.models import Batch
from tests.checks import with_report
from tests.deeds import tested
from tests.itm.intake.imports import handed_in
from tests.itm.registry.pictures import picture
from tests.itm.web.test_attachments import chosen

pytestmark = pytest.mark.django_db
SAYS = "is no longer in the store, and nobody decided to let it go"


def lose(*fields: Any) -> None:
    """As a disk would lose it: past every row."""
    for field in fields:
        Path(settings.MEDIA_ROOT, field.name).unlink()


def asked(client: Client, name: str, key: Any) -> tuple[int, str]:
    answer = client.get(reverse(name, args=[key]))
    return answer.status_code, "" if answer.streaming else answer.content.decode(errors="replace")


def test_photo_and_its_small_picture(client: Client, sign_in: Any, scene: Any) -> None:
    page = sign_in(client, scene.owner)
    page.post(f"/sites/{scene.site.key}/attachments/new/", {"chosen": chosen(picture(), "a.png")})
    row = scene.site.attachments.get()
    for name in ("attachment_file", "attachment_preview"):
        assert asked(page, name, row.key)[0] == 200
    lose(row.file, row.preview)
    for name in ("attachment_file", "attachment_preview"):
        status, text = asked(page, name, row.key)
        assert (status, SAYS in text, "a.png" in text) == (410, True, True)


def test_paper_of_a_laboratory(client: Client, sign_in: Any, scene: Any) -> None:
    paper = with_report(scene).laboratory_reports.get()
    page = sign_in(client, scene.authority)
    assert asked(page, "laboratory_report_file", paper.key)[0] == 200
    lose(paper.file)
    status, text = asked(page, "laboratory_report_file", paper.key)
    assert (status, SAYS in text, paper.name in text) == (410, True, True)


def test_table_of_an_import(client: Client, sign_in: Any, scene: Any) -> None:
    row = handed_in(scene.contractor, "history", "a;b\n1;2\n")
    page = sign_in(client, scene.contractor)
    assert asked(page, "import_file", row.key)[0] == 200
    lose(row.file)
    status, text = asked(page, "import_file", row.key)
    assert (status, SAYS in text) == (410, True)


def test_a_lost_table_is_not_read_either(client: Client, sign_in: Any, scene: Any) -> None:
    row = handed_in(scene.contractor, "history", "a;b\n1;2\n")
    lose(row.file)
    row = look_through(actor=scene.contractor, row=uploads.upload(scene.contractor, row.key))
    page = sign_in(client, scene.contractor).get(reverse("import", args=[row.key]))
    assert "so nothing can be read from it" in page.content.decode()


def test_file_of_many_reports(client: Client, sign_in: Any, scene: Any) -> None:
    record = tested(scene)
    batches.ask(
        actor=scene.owner, kind="tests", keys=[str(record.key)], words="one", at=timezone.now()
    )
    outbox.drain()
    row = Batch.objects.get()
    page = sign_in(client, scene.owner)
    assert asked(page, "batch_file", row.key)[0] == 200
    lose(row.file)
    status, text = asked(page, "batch_file", row.key)
    assert (status, SAYS in text) == (410, True)


def test_archive_of_a_site(client: Client, sign_in: Any, scene: Any) -> None:
    archives.ask(actor=scene.owner, site=scene.site, at=timezone.now())
    outbox.drain()
    row = SiteArchive.objects.get()
    lose(row.file)
    status, text = asked(sign_in(client, scene.owner), "archive_file", row.key)
    assert (status, "it is lost from the store" in text) == (422, True)


def test_report_is_made_again_of_its_bytes(client: Client, sign_in: Any, scene: Any) -> None:
    record = tested(scene)
    outbox.drain()
    page = sign_in(client, scene.owner)
    assert asked(page, "report_pdf", record.key)[0] == 200
    lose(record.report.file)
    assert asked(page, "report_pdf", record.key)[0] == 202
    outbox.drain()
    assert asked(page, "report_pdf", record.key)[0] == 200
