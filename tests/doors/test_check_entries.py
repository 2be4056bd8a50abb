"""A concentrate check entry by entry: taken as typed, merged, handed back, in any order."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest

from itm.records.models import ConcentrateCheck, ConcentrateSample, SampleValue
from tests.checks import checked, lot_of, mixed
from tests.doors.phone import MORNING, Phone, states
from tests.factories import OrganisationFactory, actor_of

VALUES = {**mixed(1.0), "ph": "7.6"}


@pytest.fixture
def phone(scene):
    return Phone(scene.contractor)


def noted(phone, scene, points=("top", "bottom"), values=VALUES):
    """A whole check in the queue, begun, measured and handed in with no signal."""
    begun = phone.note("begin_check", {"tank": scene.tank.key}, {"purpose": "periodic"})
    check = {"check": begun["key"]}
    for point in points:
        filled = phone.note(
            "add_check_sample", check, {"point": point, "label": f"B {point}", "look": "clear"}
        )
        for name, typed in values.items():
            unit = " kg/m³" if name == "density" else ""
            put = {"property": name, "value": f"{typed}{unit}", "temperature": "20.0"}
            phone.note("add_value", {"sample": filled["key"]}, put)
    phone.note("hand_in_check", check)
    return list(phone.queue)


def test_a_check_made_without_signal_is_handed_in(scene, phone):
    lot_of(scene)
    raws = noted(phone, scene)
    assert states(phone.send(raws)) == {"taken"}
    check = ConcentrateCheck.objects.get(key=raws[0]["key"])
    assert (check.state, check.limits, check.checked_on) == (
        "handed_in", "no limits", MORNING.date(),
    )  # fmt: skip
    sample = check.samples.get(label="B top")
    assert (sample.key, sample.taken_at.isoformat()) == (UUID(raws[1]["key"]), raws[1]["at"])
    assert sample.values.get(name="density").value_typed == f"{VALUES['density']} kg/m³"
    assert states(phone.send(raws)) == {"taken_before"}
    assert SampleValue.objects.count() == 6


def test_what_hangs_on_something_still_to_come_waits_for_it(scene, phone):
    lot_of(scene)
    raws = noted(phone, scene)
    answers = phone.send(reversed(raws))
    assert [one.code for one in answers[:-1]] == ["waits"] * (len(raws) - 1)
    for _ in range(3):
        answers = phone.send(raws)
    assert states(answers) == {"taken_before"}


def test_a_check_is_not_handed_in_over_the_head_of_what_was_refused(scene, phone):
    lot_of(scene)
    raws = noted(phone, scene)
    bad = next(raw for raw in raws if raw["put"].get("property") == "ph")
    bad["put"]["value"] = "76"
    answers = phone.send(raws)
    assert [(one.code, one.place) for one in answers if not one.taken] == [
        ("out_of_range", "value"), ("waits", ""),
    ]  # fmt: skip
    bad["put"]["value"] = "7.6"
    assert phone.send(raws)[-1].state == "taken"


@pytest.mark.parametrize(
    ("put", "code", "place"),
    [
        ({"property": "colour"}, "unknown_property", "property"),
        ({"value": ""}, "missing", "value"),
        ({"property": "density", "value": "1032"}, "unit_missing", "value"),
        ({"property": "density", "value": "1.032 kg/m³"}, "other_unit", "value"),
        ({"value": "1,3702,1"}, "not_a_number", "value"),
        ({"temperature": "200"}, "out_of_range", "temperature"),
        ({"origin": "hearsay"}, "invalid_choice", "origin"),
        ({"unit": "nD"}, "unknown_field", "unit"),
    ],
)
def test_a_value_that_cannot_be_taken_comes_back_with_its_place(scene, phone, put, code, place):
    begun = phone.note("begin_check", {"tank": scene.tank.key}, {"purpose": "periodic"})
    filled = phone.note("add_check_sample", {"check": begun["key"]}, {"point": "top"})
    good = {"property": "refractive_index", "value": "1.3702", "temperature": "20.0"}
    phone.note("add_value", {"sample": filled["key"]}, {**good, **put})
    *_, answer = phone.send()
    assert (answer.state, answer.code, answer.place) == ("refused", code, place)
    assert not SampleValue.objects.exists()


@pytest.mark.parametrize(
    ("verb", "put", "code", "place"),
    [
        ("begin_check", {"purpose": "fun"}, "invalid_choice", "purpose"),
        ("begin_check", {"purpose": "periodic", "key": str(uuid4())}, "unknown_field", "key"),
        ("begin_check", {"purpose": "periodic", "checked_on": "2026-06-16"}, "day_ahead",
         "checked_on"),
        ("begin_check", {"purpose": "periodic", "programmes": ["x"]}, "invalid_choice",
         "programmes"),
        ("begin_check", {"purpose": "periodic", "programmes": "european"}, "not_a_list",
         "programmes"),
        ("begin_check", {"purpose": "periodic", "u_density": "90"}, "uncertainty", "u_density"),
    ],
)  # fmt: skip
def test_a_check_that_cannot_be_begun_says_why(scene, phone, verb, put, code, place):
    answer = phone.say(verb, {"tank": scene.tank.key}, put)
    assert (answer.state, answer.code, answer.place) == ("refused", code, place)
    assert not ConcentrateCheck.objects.exists()


def test_a_bottle_is_sent_and_two_people_cross_in_the_same_field_alone(scene, phone):
    check = checked(scene, until="draft")
    sample = {"sample": check.samples.first().key}
    way = {"laboratory": "L", "sent_on": "2026-06-15"}
    opened = {"laboratory": "", "sent_on": ""}
    assert phone.say("note_check_sample", sample, way, opened).taken
    other = Phone(scene.contractor, now=phone.now)
    assert other.say("note_check_sample", sample, {"look": "hazy"}, {"look": ""}).taken
    crossed = other.say("note_check_sample", sample, {"laboratory": "M"}, {"laboratory": ""})
    assert (crossed.state, crossed.now) == ("crossed", {"laboratory": "L"})
    row = ConcentrateSample.objects.get(key=sample["sample"])
    assert (row.laboratory, row.look, row.under_way) == ("L", "hazy", True)


def test_a_second_value_of_a_property_crosses_until_the_first_is_set_aside(scene, phone):
    check = checked(scene, until="draft")
    sample = check.samples.first()
    put = {"property": "ph", "value": "7.7"}
    assert phone.say("add_value", {"sample": sample.key}, put).state == "crossed"
    value = {"value": sample.values.get(name="ph").key}
    assert phone.say("set_aside_value", value, {}).place == "reason"
    assert phone.say("set_aside_value", value, {"reason": "probe not rinsed"}).taken
    assert phone.say("add_value", {"sample": sample.key}, put).taken
    assert phone.say("bring_back_value", value).state == "crossed"


def test_a_bottle_is_withdrawn_and_counts_again(scene, phone):
    check = checked(scene, until="draft")
    sample = {"sample": check.samples.first().key}
    assert phone.say("withdraw_check_sample", sample, {"reason": "broken"}).taken
    put = {"property": "expansion", "value": "7"}
    assert phone.say("add_value", sample, put).code == "withdrawn"
    assert phone.say("bring_back_check_sample", sample).taken
    assert phone.say("add_value", sample, put).taken


def test_what_it_is_held_against_is_fixed_by_the_first_value(scene, phone):
    check = checked(scene, until="draft")
    of = {"check": check.key}
    assert phone.say("note_check", of, {"notes": "warm", "circulated": "True"}).taken
    refused = phone.say("note_check", of, {"programmes": ["ships"]})
    assert (refused.state, refused.code) == ("refused", "values_there")
    check.refresh_from_db()
    assert (check.notes, check.circulated, check.programmes) == ("warm", True, ["european"])


def test_a_device_whose_clock_is_wrong_is_named_beside_its_moment(scene, phone):
    begun = phone.note("begin_check", {"tank": scene.tank.key}, {"purpose": "periodic"})
    phone.note("add_check_sample", {"check": begun["key"]}, {"point": "top"})
    assert states(phone.send(ahead=timedelta(minutes=9))) == {"taken"}
    sample = ConcentrateSample.objects.get()
    assert sample.taken_by == f"{scene.contractor.person}, device clock 9 min ahead"
    assert sample.taken_at.isoformat() == phone.queue[1]["at"]


@pytest.mark.parametrize("verb", ["begin_check", "note_check", "add_check_sample", "add_value"])
def test_a_stranger_learns_nothing(scene, verb):
    check = checked(scene, until="draft")
    kind, row = {
        "begin_check": ("tank", scene.tank), "note_check": ("check", check),
        "add_check_sample": ("check", check), "add_value": ("sample", check.samples.first()),
    }[verb]  # fmt: skip
    stranger = Phone(actor_of(OrganisationFactory(kind="contractor")))
    theirs, nobodys = (stranger.say(verb, {kind: key}, {}) for key in (row.key, uuid4()))
    assert (theirs.state, theirs.code, theirs.sentence) == (
        nobodys.state, nobodys.code, nobodys.sentence,
    )  # fmt: skip
    assert not theirs.taken


def test_the_owner_checks_its_own_tank_and_the_authority_does_not(scene):
    put = {"purpose": "periodic"}
    assert Phone(scene.owner).say("begin_check", {"tank": scene.tank.key}, put).taken
    answer = Phone(scene.authority).say("begin_check", {"tank": scene.tank.key}, put)
    assert answer.state == "forbidden"


def test_a_handed_in_check_takes_no_more(scene, phone):
    check = checked(scene, until="handed_in")
    sample = check.samples.first()
    for verb, of, put in (
        ("note_check", {"check": check.key}, {"notes": "later"}),
        ("add_check_sample", {"check": check.key}, {"point": "middle"}),
        ("note_check_sample", {"sample": sample.key}, {"look": "later"}),
        ("add_value", {"sample": sample.key}, {"property": "expansion", "value": "7"}),
    ):
        assert phone.say(verb, of, put).code == "not_draft", verb
