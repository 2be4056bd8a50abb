"""Photos of what a task wants to be seen: they go first, and the inspection names them."""

import hashlib
import io
from uuid import uuid4

import pytest

from itm.actions.withdraw_file import withdraw_file
from itm.core.errors import Conflict
from itm.doors.photos import take_photo
from itm.records.duties import derive_site
from itm.records.models import InspectionLine
from itm.registry.models import Attachment
from itm.schedule.models import Duty, Requirement
from tests.deeds import look_duty
from tests.doors.looking import LOOK, looked, photo_of
from tests.itm.registry.pictures import picture


@pytest.fixture
def tank_duty(scene, draft) -> Duty:
    """The look at the tank with a want more, invented: it is to be seen too."""
    like = look_duty(scene).requirement
    row = Requirement.objects.create(
        programme=like.programme, code="yearly-sight", task="inspection",
        words="See the tank from outside", applies_to=["tank:any"], interval=12, earliest=9,
        latest=15, source="invented for tests", confidence="looked up",
        evidence=[*like.evidence, {"key": "seen", "label": "Photo of the tank", "kind": "photo"}],
    )  # fmt: skip
    derive_site(actor=scene.owner, site=scene.site)
    found: Duty = Duty.objects.get(requirement=row, done_on=None)
    return found


def test_a_photo_of_a_task_hangs_on_its_thing_and_is_named_by_the_inspection(
    phone, visit, tank_duty
):
    key = uuid4()
    raw = looked(phone, visit, tank_duty, [*LOOK, f"seen: {key}"])
    [early] = phone.send()
    assert (early.state, early.code) == ("refused", "waits")
    data = picture()
    assert photo_of(phone, visit, tank_duty, key, data).taken
    assert photo_of(phone, visit, tank_duty, key, data).state == "taken_before"
    assert phone.send([raw])[0].taken
    file = Attachment.objects.get()
    assert (file.tank, file.held_back) == (tank_duty.tank, False)
    told = InspectionLine.objects.get().answers[-1]
    assert (told["attachment"], told["sha256"]) == (str(file.key), file.sha256)
    assert told["sha256"] == hashlib.sha256(data).hexdigest()


def test_a_photo_that_is_wanted_is_not_left_out_nor_taken_of_something_else(
    phone, visit, duty, tank_duty
):
    key = uuid4()
    assert photo_of(phone, visit, duty, key).taken
    for answers, code in ((LOOK, "missing"), ([*LOOK, f"seen: {key}"], "photo_missing"),
                          ([*LOOK, "seen: IMG_3.png"], "photo_missing")):  # fmt: skip
        raw = looked(phone, visit, tank_duty, answers)
        [answer] = phone.send([raw])
        assert (answer.state, answer.code, answer.place) == ("refused", code, "answers")


@pytest.mark.parametrize("of", [{"duty": "x"}, {"duty": str(uuid4())}, {"duty": "y", "line": "z"}])
def test_a_photo_of_a_task_names_its_visit(phone, visit, duty, of):
    answer = take_photo(
        actor=phone.actor, key=str(uuid4()), of=of, file=io.BytesIO(picture()), name="a.png",
        at=phone.now, taken_at=phone.now.isoformat(),
    )  # fmt: skip
    assert (answer.state, answer.code) == ("refused", "bad_entry")


def two_photos(phone, other_phone, visit, duty):
    """One of each person, of one task; the keys that the answers name."""
    keys = [uuid4(), uuid4()]
    for who, key in zip((other_phone, phone), keys, strict=True):
        assert photo_of(who, visit, duty, key, picture()).taken
    return keys


def test_whoever_puts_a_finding_in_its_place_puts_its_photo_there_too(
    phone, other_phone, visit, tank_duty
):
    """Or the sound tank would be shown beside the words of what is wrong with it."""
    theirs, mine = two_photos(phone, other_phone, visit, tank_duty)
    looked(other_phone, visit, tank_duty, [*LOOK, f"seen: {theirs}"])
    assert other_phone.send()[0].taken
    wrong = [*LOOK[:2], "fit: no", f"seen: {mine}"]
    looked(phone, visit, tank_duty, wrong)
    [answer] = phone.send()
    assert answer.state == "crossed"
    seen = {**answer.now, "answers": "\n".join(answer.now["answers"])}
    assert phone.send([looked(phone, visit, tank_duty, wrong, seen)])[0].taken
    old, new = InspectionLine.objects.order_by("pk")
    [before] = [one for one in old.answers if one["kind"] == "photo"]
    [after] = [one for one in new.answers if one["kind"] == "photo"]
    file = Attachment.objects.get(key=after["attachment"])
    assert after["sha256"] == file.sha256 != before["sha256"]
    assert file.added_by == phone.actor.person
    with pytest.raises(Conflict, match="an answer of an inspection"):
        withdraw_file(actor=phone.actor, row=file, why="x", at=phone.now)


def test_a_photo_that_only_the_second_took_stands_on_the_line(phone, other_phone, visit, tank_duty):
    evidence = [dict(one) for one in tank_duty.requirement.evidence]
    evidence[-1]["optional"] = True
    row = tank_duty.requirement
    row.evidence = evidence
    Requirement.objects.filter(pk=row.pk).update(evidence=evidence)
    _, mine = two_photos(phone, other_phone, visit, tank_duty)
    looked(other_phone, visit, tank_duty, LOOK)
    assert other_phone.send()[0].taken
    looked(phone, visit, tank_duty, [*LOOK, f"seen: {mine}"])
    assert phone.send()[0].taken
    old, new = InspectionLine.objects.order_by("pk")
    assert (new.corrects, new.outcome) == (old, "in_order")
    assert [one["kind"] for one in new.answers if one["typed"]].count("photo") == 1
