"""Files hang on a site or on a thing there; all of a batch or none, withdrawn and never deleted."""

import io
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from itm.core.errors import Forbidden, Refused
from itm.core.history import Change
from itm.registry import attaching, queries_attachments
from itm.registry.attaching import Upload
from itm.registry.models import Attachment
from tests.conftest import Scene
from tests.factories import AttachmentFactory, EquipmentFactory
from tests.itm.registry.pictures import PDF, picture

AT = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)


def upload(data: bytes = b"", name: str = "valve.png") -> Upload:
    return Upload(io.BytesIO(data or picture()), name)


def attach(scene: Scene, *uploads: Upload, **values: Any) -> list[Attachment]:
    return attaching.attach(
        **{"actor": scene.owner, "site": scene.site, "target": scene.site, "at": AT, **values},
        uploads=uploads or [upload()],
    )


def on_disk(settings: Any) -> list[Path]:
    return [one for one in Path(settings.MEDIA_ROOT).rglob("*") if one.is_file()]


def test_file_is_kept_as_it_came_under_a_name_nobody_can_guess(scene: Scene, settings) -> None:
    data = picture("JPEG")
    [row] = attach(scene, upload(data, "../valve 12.jpg"), caption=" seal broken ")
    row.refresh_from_db()
    assert (row.name, row.caption, row.added_by) == (
        "valve 12.jpg", "seal broken", scene.owner.person,
    )  # fmt: skip
    assert row.file.read() == data
    assert row.preview.read()[:3] == b"\xff\xd8\xff"
    stem = Path(row.file.name).stem
    assert len(stem) == 32
    assert int(stem, 16)  # a random UUID, RFC 9562 version 4
    assert "valve" not in row.file.name
    assert len(on_disk(settings)) == 2


@pytest.mark.parametrize("name", ["system", "proportioner", "tank", "equipment"])
def test_file_hangs_on_the_thing_it_was_attached_to(scene: Scene, name: str) -> None:
    EquipmentFactory(site=scene.site, system=scene.system)
    target = scene.site.equipment.get() if name == "equipment" else getattr(scene, name)
    [row] = attach(scene, target=target)
    assert row.target == target
    assert queries_attachments.attachments_of(scene.authority, target) == [row]
    assert queries_attachments.attachments_of(scene.authority, scene.site) == []
    assert queries_attachments.attachment_count(scene.contractor, scene.site) == 1


def test_one_bad_file_keeps_all_others_out_of_rows_and_disk(scene: Scene, settings) -> None:
    with pytest.raises(Refused, match=r"“notes\.txt” is neither"):
        attach(scene, upload(), upload(PDF, "a.pdf"), upload(b"plain text", "notes.txt"))
    assert not Attachment.objects.exists()
    assert on_disk(settings) == []
    with pytest.raises(Refused) as refused:
        attach(scene, *[upload() for _ in range(attaching.MOST + 1)])
    assert refused.value.code == "too_many"


def test_same_file_on_the_same_thing_is_named_and_not_doubled(scene: Scene, settings) -> None:
    data = picture()
    attach(scene, upload(data, "first.png"))
    with pytest.raises(Refused, match=r"“again.png” is already here, as “first.png”"):
        attach(scene, upload(data, "again.png"))
    assert attach(scene, upload(data), target=scene.tank)  # on another thing it says another thing
    assert len(on_disk(settings)) == 4


def test_withdrawn_file_is_served_to_nobody_and_its_line_says_why(scene: Scene, settings) -> None:
    [row] = attach(scene, actor=scene.contractor)
    with pytest.raises(Refused, match="Say why"):
        attaching.withdraw(actor=scene.contractor, row=row, why=" ", at=AT)
    with pytest.raises(Forbidden):
        attaching.withdraw(actor=scene.authority, row=row, why="wrong", at=AT)
    for _ in range(2):  # may run twice
        attaching.withdraw(actor=scene.owner, row=row, why="shows a face", at=AT)
    with pytest.raises(queries_attachments.NotFound):
        queries_attachments.file_to_serve(scene.contractor, row.key)
    [line] = queries_attachments.attachments_of(scene.authority, scene.site)
    assert (line.withdrawn_by, line.withdrawn_why) == (scene.owner.person, "shows a face")
    assert len(on_disk(settings)) == 2  # the bytes stay: a record may rest on them
    attaching.bring_back(actor=scene.owner, row=row)
    assert queries_attachments.file_to_serve(scene.authority, row.key) == row
    verbs = Change.objects.filter(object_key=row.key).values_list("verb", flat=True)
    assert list(verbs) == ["attached", "withdrawn", "brought back"]


def test_authority_reads_and_does_not_attach(scene: Scene) -> None:
    with pytest.raises(Forbidden):
        attach(scene, actor=scene.authority)


@pytest.mark.parametrize("name", ["lot", "instrument", "certificate"])
def test_who_keeps_a_lot_or_an_instrument_attaches_to_it_and_nobody_else(
    scene: Scene, name: str
) -> None:
    lot = scene.tank.movements.first().lot
    on = {"lot": lot, "instrument": scene.instrument}
    target = on.get(name) or scene.instrument.certificates.get()
    keeper = scene.owner if name == "lot" else scene.contractor
    for other in {scene.owner, scene.contractor, scene.authority} - {keeper}:
        with pytest.raises(Forbidden):
            attach(scene, actor=other, site=None, target=target)
    data = picture()
    [row] = attach(scene, upload(data), actor=keeper, site=None, target=target)
    assert (row.site, row.target) == (None, target)
    with pytest.raises(Refused, match="already here"):
        attach(scene, upload(data), actor=keeper, site=None, target=target)
    assert attaching.may_withdraw(keeper, row)
    assert not attaching.may_withdraw(scene.authority, row)
    attaching.withdraw(actor=keeper, row=row, why="the wrong paper", at=AT)
    [line] = queries_attachments.attachments_of(keeper, target)
    assert line.withdrawn_why == "the wrong paper"


@pytest.mark.parametrize(
    "broken",
    [
        {"size": 0},
        {"content_type": "text/html"},
        {"withdrawn_at": AT},
        {"withdrawn_why": "x", "withdrawn_by": "y"},
        {"tank": "tank", "system": "system"},
        {"lot": "lot"},
        {"instrument": "instrument"},
        {"site": None},
        {"site": None, "tank": "tank"},
        {"site": None, "lot": "lot", "instrument": "instrument"},
    ],
)
def test_database_itself_refuses_what_an_attachment_cannot_be(
    scene: Scene, broken: dict[str, Any]
) -> None:
    things = {
        "tank": scene.tank,
        "system": scene.system,
        "lot": scene.tank.movements.first().lot,
        "instrument": scene.instrument,
    }
    values = {"site": scene.site, "organisation": scene.owner.organisation, **broken}
    with pytest.raises(IntegrityError), transaction.atomic():
        AttachmentFactory(**{name: things.get(str(value), value) for name, value in values.items()})
