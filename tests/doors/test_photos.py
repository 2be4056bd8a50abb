"""Photos of a day: kept once under the device's key, and the crew's own until the seal."""

import io
import json
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

import pytest

from itm.actions.sign import sign
from itm.core.errors import NotFound
from itm.doors.day import day_of
from itm.doors.photos import take_photo
from itm.records.models import Bottle, Photo, Reading, RestorationLine, Seal
from itm.registry import queries_attachments
from itm.registry.models import Attachment
from tests.deeds import tested
from tests.doors.phone import Phone, run_of, started, whole_day
from tests.factories import OrganisationFactory, actor_of
from tests.itm.registry.pictures import PDF, picture

PICTURE = picture()


def photo(phone, of, data=None, key=None, **more):
    more.setdefault("taken_at", phone.now.isoformat())
    return take_photo(
        actor=phone.actor, key=str(key or uuid4()), of=of, file=io.BytesIO(data or PICTURE),
        name="IMG_17.png", at=phone.now, **more,
    )  # fmt: skip


@pytest.fixture
def reading(draft, phone):
    phone.say("set_out_bench", {"test": draft.key})
    bottle = {"bottle": Bottle.objects.get(role="water").key}
    phone.say("add_reading", bottle, {"value": "1.33300", "temperature": "20.0"})
    return Reading.objects.get()


def stored(settings) -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def test_a_photo_hangs_on_its_reading_and_stands_in_the_day(draft, phone, reading):
    key = uuid4()
    answer = photo(phone, {"reading": str(reading.key)}, key=key)
    assert answer.state == "taken"
    row = Photo.objects.get(key=key)
    assert (row.reading, row.taken_at, row.taken_by) == (reading, phone.now, phone.actor.person)
    assert row.attachment.caption == "Display at water: 1.33300"
    [told] = day_of(phone.actor, draft.visit.key)["photos"]
    assert (told["key"], told["of"]) == (str(key), {"reading": str(reading.key)})


def test_a_photo_sent_ten_times_is_one_file(draft, phone, reading, settings):
    key, of = uuid4(), json.dumps({"reading": str(reading.key)})
    answers = [photo(phone, of, key=key) for _ in range(10)]
    assert [answer.state for answer in answers] == ["taken"] + ["taken_before"] * 9
    assert Photo.objects.count() == Attachment.objects.count() == 1
    assert len(stored(settings)) == 2  # and its small picture


def test_another_picture_under_the_key_is_refused(draft, phone, reading):
    key, of = uuid4(), {"reading": str(reading.key)}
    photo(phone, of, key=key)
    again = photo(phone, of, picture(size=(20, 20)), key=key)
    assert (again.state, again.code) == ("refused", "other_body")


def test_one_picture_of_two_things_is_kept_once(draft, phone, reading, settings):
    water = {"bottle": reading.bottle.key}
    phone.say("add_reading", water, {"value": "1.33301", "temperature": "20.0"})
    for row in Reading.objects.all():
        assert photo(phone, {"reading": str(row.key)}).taken
    assert (Photo.objects.count(), Attachment.objects.count()) == (2, 1)


def test_a_photo_waits_for_its_reading(draft, phone):
    answer = photo(phone, {"reading": str(uuid4())})
    assert (answer.state, answer.code) == ("refused", "waits")


@pytest.mark.parametrize(
    ("of", "data", "code"),
    [
        ({"reading": "x"}, None, "bad_entry"),
        ({"site": str(uuid4())}, None, "bad_entry"),
        ("{", None, "bad_entry"),
        (None, PDF, "not_a_picture"),
        (None, picture()[:200], "broken_picture"),
        (None, b"<svg/>", "unknown_type"),
    ],
)
def test_what_is_no_photo_is_refused_and_leaves_no_file(
    draft, phone, reading, settings, of, data, code
):
    answer = photo(phone, of or {"reading": str(reading.key)}, data)
    assert (answer.state, answer.code) == ("refused", code)
    assert stored(settings) == []


def test_a_photo_of_a_reading_is_the_crews_until_the_seal(scene, draft, phone):
    phone.send(whole_day(phone, draft)[:-1])
    reading = Reading.objects.first()
    assert photo(phone, {"reading": str(reading.key)}).taken
    row = Attachment.objects.get()
    for stranger in (scene.owner, scene.authority):
        with pytest.raises(NotFound):
            queries_attachments.file_to_serve(stranger, row.key)
    phone.say("hand_in", {"test": draft.key})
    with pytest.raises(NotFound):
        queries_attachments.file_to_serve(scene.authority, row.key)
    sign(
        actor=phone.actor, key=draft.key, at=phone.now + timedelta(hours=1), name="A signer",
        qualification="Foam systems technician",
    )  # fmt: skip
    for reader in (scene.owner, scene.authority, phone.actor):
        assert queries_attachments.file_to_serve(reader, row.key) == row
    sealed = json.loads(bytes(Seal.objects.get().document))
    assert [one["sha256"] for one in sealed["photos"]] == [row.sha256]


def test_a_photo_of_a_valve_is_the_owners_to_see(scene, draft, phone):
    started(phone, draft)
    line = RestorationLine.objects.first()
    assert photo(phone, {"line": str(line.key)}).taken
    assert queries_attachments.file_to_serve(scene.owner, Attachment.objects.get().key)


def test_a_photo_may_come_after_the_seal(scene):
    sealed = tested(scene)
    phone = Phone(scene.contractor)
    assert photo(phone, {"reading": str(Reading.objects.first().key)}).taken
    assert queries_attachments.file_to_serve(scene.owner, Attachment.objects.get().key)
    assert "photos" not in json.loads(bytes(sealed.seal.document))


def test_of_a_run_and_of_the_visit(draft, phone):
    assert photo(phone, {"run": str(run_of(draft).key)}).taken
    assert photo(phone, {"visit": str(draft.visit.key)}, picture(size=(30, 30))).taken


def test_a_stranger_and_the_owner_take_no_photo(scene, draft, phone):
    started(phone, draft)
    stranger = Phone(actor_of(OrganisationFactory(kind="contractor")))
    assert photo(stranger, {"visit": str(draft.visit.key)}).state == "not_found"
    assert photo(Phone(scene.owner), {"visit": str(draft.visit.key)}).state == "forbidden"


def test_a_wrong_clock_is_told_of_photos_too(draft, phone):
    ahead = (phone.now + timedelta(hours=3)).isoformat()
    photo(phone, {"visit": str(draft.visit.key)}, taken_at=ahead)
    assert draft.visit.device_clocks.get().ahead_s == 3 * 3600
