"""What a record or a finding rests on is taken from nobody who reads it; of an inspection
tests/itm/web/test_inspections.py shows it."""

import io
from datetime import UTC, date, datetime

import pytest

from itm.actions.note_deficiency import note_deficiency
from itm.actions.withdraw_file import withdraw_file
from itm.core.errors import Conflict, Forbidden
from itm.records.photographing import take_photo
from itm.registry import attaching, queries_attachments
from itm.registry.attaching import Upload
from itm.registry.models import Attachment, Grant
from tests import keeping
from tests.deeds import discharged, prepared
from tests.itm.registry.pictures import PDF, picture

AT = datetime(2026, 8, 1, 9, tzinfo=UTC)
ON = date(2026, 6, 15)


def refused(scene, row: Attachment, why: str) -> None:
    for actor in (scene.owner, scene.contractor):
        with pytest.raises(Conflict, match=why):
            withdraw_file(actor=actor, row=row, why="x", at=AT)
    for reader in (scene.owner, scene.contractor, scene.authority):
        assert queries_attachments.file_to_serve(reader, row.key) == row


def test_a_photo_of_a_record_that_was_handed_in_stays_to_be_seen(scene):
    keeping.photographed(scene, on=ON)
    refused(scene, Attachment.objects.get(), "record of the test day of 15 Jun 2026")


def test_a_photo_of_a_draft_is_withdrawn_by_its_crew(scene):
    day = discharged(prepared(scene, on=ON))
    take_photo(
        actor=day.actor, of=day.test.runs.first(), file=io.BytesIO(picture("JPEG")), name="a.jpg",
        taken_at=day.tick(), at=day.tick(),
    )  # fmt: skip
    row = Attachment.objects.get()
    assert withdraw_file(actor=scene.contractor, row=row, why="the wrong valve", at=AT).withdrawn_at


def test_a_photo_of_a_deficiency_stays_to_be_seen(scene):
    note_deficiency(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=3, words="a sign is gone",
        found_on=ON, at=AT, uploads=[Upload(io.BytesIO(picture()), "sign.png")],
    )  # fmt: skip
    row = Attachment.objects.get()
    with pytest.raises(Conflict, match="noted of a deficiency"):
        withdraw_file(actor=scene.owner, row=row, why="x", at=AT)


def test_what_belongs_to_nothing_is_withdrawn_but_not_by_whom_the_site_let_go(scene):
    [row] = attaching.attach(
        actor=scene.contractor, site=scene.site, target=scene.site, at=AT,
        uploads=[Upload(io.BytesIO(PDF), "plan.pdf")],
    )  # fmt: skip
    grant = Grant.objects.get(organisation=scene.contractor.organisation)
    grant.ends_on = scene.contractor.today.replace(year=scene.contractor.today.year - 1)
    grant.starts_on = grant.ends_on
    grant.save(by=scene.owner)
    with pytest.raises(Forbidden):
        withdraw_file(actor=scene.contractor, row=row, why="x", at=AT)
    assert withdraw_file(actor=scene.owner, row=row, why="an old plan", at=AT).withdrawn_at
