"""A file of what a device could not send: whatever its order, hand-ins go after all else.

The rule of order is the project's own, the one of the device's rounds.
"""

import base64
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from itm.doors.entries import MOST_ENTRIES
from itm.doors.entry import Answer
from itm.doors.last_resort import take_all
from itm.records.models import ConcentrateCheck, ConcentrateSample, LaboratoryReport
from tests.checks import PDF, lot_of, mixed
from tests.deeds import prepared
from tests.doors.looking import LOOK, looked
from tests.doors.phone import MORNING, Phone, whole_day
from tests.doors.test_inspect_photos import tank_duty  # noqa: F401
from tests.factories import OrganisationFactory, actor_of
from tests.itm.registry.pictures import picture


@pytest.fixture
def phone(scene: Any) -> Phone:
    return Phone(scene.contractor, MORNING + timedelta(days=20))


@pytest.fixture
def check(scene: Any, phone: Phone) -> dict[str, Any]:
    """A check in the queue with its hand-in, and the paper on its bottle beside it."""
    lot_of(scene)
    begun = phone.note("begin_check", {"tank": scene.tank.key}, {"purpose": "periodic"})
    of = {"check": begun["key"]}
    sample = phone.note("add_check_sample", of, {"point": "top", "label": "B top"})
    for name, typed in mixed(1.0).items():
        unit = " kg/m³" if name == "density" else ""
        put = {"property": name, "value": f"{typed}{unit}", "temperature": "20.0"}
        phone.note("add_value", {"sample": sample["key"]}, put)
    phone.note("hand_in_check", of)
    put = {
        "laboratory": "L", "number": "R 1", "reported_on": phone.now.date().isoformat(),
        "samples": [{"sample": sample["key"], "values": [{"property": "ph", "value": "7.6"}]}],
    }  # fmt: skip
    return {"key": str(uuid4()), "of": of, "put": put, "at": phone.now.isoformat(), "name": "r.pdf",
            "data": base64.b64encode(PDF).decode()}  # fmt: skip


def take(
    phone: Phone, asked: list[Any], papers: Any = (), photos: Any = (), elsewhere: Any = ()
) -> list[Answer]:
    return take_all(
        actor=phone.actor, asked=asked, held_papers=papers, held_photos=photos,
        elsewhere=elsewhere, at=phone.now,
    )  # fmt: skip


def test_a_check_is_handed_in_after_its_paper(phone, check) -> None:
    answers = take(phone, phone.queue, [check])
    assert [one.sentence for one in answers if not one.taken] == []
    assert ConcentrateCheck.objects.get().state == "handed_in"
    assert LaboratoryReport.objects.get().samples.count() == 1
    assert {one.state for one in take(phone, phone.queue, [check])} == {"taken_before"}


@pytest.mark.parametrize("wrong", [{"data": "§"}, {"put": {}}, {"of": {"check": "none"}}])
def test_a_paper_that_is_refused_keeps_its_check_from_being_handed_in(phone, check, wrong) -> None:
    answers = take(phone, phone.queue, [check | wrong])
    assert [one.code for one in answers[:-1] if not one.taken] == ["waits"]
    assert not answers[-1].taken
    assert ConcentrateCheck.objects.get().state == "draft"
    assert {one.taken for one in take(phone, phone.queue, [check])} == {True}


def test_a_part_without_the_paper_hands_no_check_in_until_the_paper_has_come(phone, check) -> None:
    first, hand_in = phone.queue[:-1], phone.queue[-1:]
    *others, last = take(phone, phone.queue, elsewhere=[check["key"]])
    assert {one.taken for one in others} == {True}
    assert (last.state, last.code) == ("refused", "waits")
    assert "hand in the other parts, and then this one again" in last.sentence
    assert not take(phone, hand_in, elsewhere=["no key", check["key"]])[0].taken
    assert take(phone, first, [check])[-1].taken
    [last] = take(phone, hand_in, elsewhere=[check["key"]])
    assert (last.state, ConcentrateCheck.objects.get().state) == ("taken", "handed_in")


def test_a_paper_of_another_organisation_has_not_come(phone, check) -> None:
    assert take(phone, phone.queue[:-1], [check])[-1].taken
    other = Phone(actor_of(OrganisationFactory(kind="contractor")), phone.now)
    [answer] = take(other, phone.queue[-1:], elsewhere=[check["key"]])
    assert answer.code == "waits"


def test_a_test_is_not_handed_in_over_a_reading_refused_far_before_it(scene) -> None:
    test = prepared(scene).test
    phone = Phone(scene.contractor)
    raws = [raw for raw in whole_day(phone, test) if raw["verb"] != "start_test_day"]
    *rest, hand_in = raws
    bad = next(raw for raw in rest if raw["verb"] == "add_reading")
    good, bad["put"] = bad["put"], {**bad["put"], "temperature": "400"}
    many = rest + [rest[0]] * MOST_ENTRIES  # so that the hand-in is in another part
    answers = take(phone, [*many, hand_in])
    assert (answers[-1].state, answers[-1].code) == ("refused", "waits")
    test.refresh_from_db()
    assert test.state == "draft"
    bad["put"] = good
    assert [one.sentence for one in take(phone, raws) if not one.taken] == []


def test_an_inspection_is_taken_after_the_photo_that_it_names(scene, tank_duty) -> None:  # noqa: F811
    visit = prepared(scene).test.visit
    phone = Phone(scene.contractor)
    key = str(uuid4())
    raw = looked(phone, visit, tank_duty, [*LOOK, f"seen: {key}"])
    photo = {
        "key": key, "of": {"duty": str(tank_duty.key), "visit": str(visit.key)}, "name": "t.jpg",
        "at": raw["at"], "data": base64.b64encode(picture()).decode(),
    }  # fmt: skip
    [early] = take(phone, [raw])
    assert (early.code, "photo" in early.sentence) == ("waits", True)
    assert [one.state for one in take(phone, [raw], photos=[photo])] == ["taken", "taken"]


def test_what_is_no_object_is_answered_in_its_place(phone, check) -> None:
    answers = take(phone, ["x", *phone.queue], [3], [{}])
    assert [one.taken for one in answers[:1] + answers[-3:]] == [False] * 4
    assert ConcentrateSample.objects.count() == 1
