"""A test begun where its proportioner stands: one record however many phones began it."""

import uuid
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.actions.abandon import abandon
from itm.actions.prepare_test import prepare_test
from itm.doors.along import day_for_device
from itm.records import preparing
from itm.records.models import Bottle, ProportioningTest, Reading, RestorationLine
from itm.registry.retiring import retire, take_back
from tests.doors.phone import MORNING, Phone, started, states, whole_day
from tests.factories import (
    ConcentrateLotFactory,
    InstrumentFactory,
    ProportionerFactory,
    TankFactory,
    TankFillFactory,
)


@pytest.fixture
def second(scene):
    """Another proportioner of the site, of which nothing is prepared."""
    tank = TankFactory(site=scene.site)
    TankFillFactory(tank=tank, lot=ConcentrateLotFactory(owner=scene.owner.organisation))
    return ProportionerFactory(system=scene.system, tank=tank)


def day(phone, visit):
    return day_for_device(phone.actor, visit.key, said={}, at=phone.now)


def put_of(scene, device, **texts):
    return {
        "proportioner": str(device.key), "purpose": "retest",
        "instrument": str(scene.instrument.key), **texts,
    }  # fmt: skip


def begin(phone, visit, put, **parts):
    return phone.say("begin_test", {"visit": visit.key}, put, **parts)


def key_on_the_device(visit, device, read_with, before=0, phase="as_found"):
    """Written once more, as the page of the device has it."""
    name = f"{phase} of {device.key} by bench, {read_with}, {before} before"
    return uuid.uuid5(visit.key, name)


def test_what_is_begun_has_the_keys_that_the_device_worked_out(scene, draft, phone, second):
    begun = begin(phone, draft.visit, put_of(scene, second))
    assert begun.taken, begun
    with_meter = f"meter {scene.instrument.key} and lot unknown"
    key = key_on_the_device(draft.visit, second, with_meter)
    test = ProportioningTest.objects.get(key=key)
    assert (test.proportioner, test.purpose, test.phase) == (second, "retest", "as_found")
    assert test.bench.key == uuid.uuid5(key, "bench")
    points = second.flow_points.all()
    assert {run.key for run in test.runs.all()} == {
        uuid.uuid5(key, f"run of {point.key}") for point in points
    }
    for step in test.flush_steps.all():
        assert step.key == uuid.uuid5(key, f"step 1: {step.text}")
    lines = RestorationLine.objects.filter(visit=draft.visit, proportioner=second)
    assert lines.count() > 0
    for line in lines:
        assert line.key == uuid.uuid5(draft.visit.key, f"line of {second.key} 1: {line.text}")


def test_a_whole_day_begun_on_the_spot_is_handed_in(scene, draft, phone, second):
    visit = draft.visit
    assert begin(phone, visit, put_of(scene, second)).taken
    test = ProportioningTest.objects.get(proportioner=second)
    lines = RestorationLine.objects.filter(visit=visit, proportioner=draft.proportioner)
    answers = phone.send(whole_day(phone, test))
    assert states(answers) == {"taken"}, [a for a in answers if not a.taken]
    test.refresh_from_db()
    assert (test.state, test.limits) == ("handed_in", "in band")
    assert lines.count() > 0


def test_it_is_frozen_as_the_day_told(scene, draft, phone, second):
    told = day(phone, draft.visit)["beginning"]
    [device] = [one for one in told["devices"] if one["key"] == str(second.key)]
    begin(phone, draft.visit, put_of(scene, second))
    after = day(phone, draft.visit)
    [test] = [one for one in after["tests"] if one["device"] == str(second.key)]
    rule = device["rules"]["retest"]
    assert (test["band"], test["criterion"]) == (rule["band"], rule["criterion"])
    for name in ("tag", "system", "kind", "nominal_percent", "listed"):
        assert test[name] == device[name], name
    assert [one["text"] for one in test["flush"]] == device["flush"]
    lines = [one for one in after["restoration"] if one["device"] == str(second.key)]
    assert [one["text"] for one in lines] == device["restoration"]
    [bench] = [one for one in after["benches"] if one["key"] == test["bench"]]
    [meter] = [one for one in told["meters"] if one["key"] == str(scene.instrument.key)]
    for name in ("instrument", "fields", "correction", "certificates"):
        assert bench[name] == meter[name], name
    for name in ("asked", "water_density", "certificate_needed", "compensation", "density"):
        assert bench[name] == told["bench"][name], name
    lot = next(one for one in device["lots"] if one["key"] == "")
    assert bench["remarks"] == [*meter["remarks"], *lot["remarks"]]
    planned = [
        (one["role"], one["label"], one["target_percent"], one["key"]) for one in bench["bottles"]
    ]
    assert planned == [
        (one["role"], one["label"], one["target_percent"],
         str(uuid.uuid5(uuid.UUID(bench["key"]), one["what"])))
        for one in device["bottles"]
    ]  # fmt: skip
    [asked] = [after["tests"][0]["asked"]]
    assert asked == told["asked_of_test"]["as_found"]


def test_two_phones_that_begin_the_same_mean_one_test(scene, draft, phone, other_phone, second):
    """Each with a flow point of its own, and readings that hang on it before anybody answered."""
    low, high = second.flow_points.order_by("flow")
    for one, point in ((other_phone, low), (phone, high)):
        put = put_of(scene, second, flow_points=[str(point.key)], water_source="")
        assert begin(one, draft.visit, put).taken
    test = ProportioningTest.objects.get(proportioner=second)
    assert {run.flow_point for run in test.runs.all()} == {low, high}
    for one, shown in ((phone, "1.33300"), (other_phone, "1.33310")):
        one.say("set_out_bench", {"test": test.key})
        water = {"bottle": uuid.uuid5(test.bench.key, "water")}
        assert one.say("add_reading", water, {"value": shown, "temperature": "20.0"}).taken
    assert Reading.objects.count() == 2
    assert Bottle.objects.filter(role="water", bench=test.bench).count() == 1


def test_what_two_phones_said_differently_is_asked(scene, draft, phone, other_phone, second):
    theirs = put_of(scene, second, water_source="pond", notes="windy")
    mine = {**theirs, "purpose": "periodic", "water_source": "hydrant", "batch_volume_ml": "100"}
    assert begin(other_phone, draft.visit, theirs).taken
    answer = begin(phone, draft.visit, mine)
    assert answer.state == "crossed"
    assert answer.now == {
        "purpose": "retest", "water_source": "pond", "batch_volume_ml": "200.0",
    }  # fmt: skip
    assert other_phone.actor.person in answer.sentence
    assert begin(phone, draft.visit, mine, opened=dict(answer.now)).taken
    test = ProportioningTest.objects.get(proportioner=second)
    assert (test.purpose, test.notes) == ("periodic", "windy")
    assert (test.bench.water_source, test.bench.batch_volume_ml) == ("hydrant", Decimal("100.0"))


def test_what_only_one_said_is_added(scene, draft, phone, other_phone, second):
    begin(other_phone, draft.visit, put_of(scene, second))
    assert begin(phone, draft.visit, put_of(scene, second, glassware="100 mL flask")).taken
    assert ProportioningTest.objects.get(proportioner=second).bench.glassware == "100 mL flask"


def test_read_with_another_meter_it_is_refused_and_goes_once_the_first_is_given_up(
    scene, draft, phone, other_phone, second
):
    begin(other_phone, draft.visit, put_of(scene, second))
    other = InstrumentFactory(organisation=scene.contractor.organisation)
    mine = put_of(scene, second, instrument=str(other.key))
    raw = phone.note("begin_test", {"visit": draft.visit.key}, mine)
    [answer] = phone.send()
    assert (answer.state, answer.code) == ("refused", "one_test_a_phase")
    assert str(scene.instrument) in answer.sentence
    first = ProportioningTest.objects.get(proportioner=second)
    abandon(actor=scene.contractor, key=first.key, reason="the other meter counts", at=phone.now)
    [again] = phone.send([raw])
    assert again.taken, again
    assert ProportioningTest.objects.filter(proportioner=second).count() == 2


def test_the_page_and_the_phone_mean_the_same_test(scene, draft, phone, second):
    test = prepare_test(
        actor=scene.contractor, visit=draft.visit, proportioner=second, at=MORNING,
        purpose="retest", bench=preparing.NewBench(scene.instrument),
    )  # fmt: skip
    assert begin(phone, draft.visit, put_of(scene, second)).taken
    assert ProportioningTest.objects.get(proportioner=second) == test


def test_one_that_was_given_up_is_followed_by_another(scene, draft, phone, second):
    begin(phone, draft.visit, put_of(scene, second))
    first = ProportioningTest.objects.get(proportioner=second)
    abandon(actor=scene.contractor, key=first.key, reason="hose burst", at=phone.now)
    told = day(phone, draft.visit)["beginning"]
    [device] = [one for one in told["devices"] if one["key"] == str(second.key)]
    assert device["before"] == {"as_found": 1, "as_left": 0}
    assert begin(phone, draft.visit, put_of(scene, second)).taken
    meter = f"meter {scene.instrument.key} and lot unknown"
    assert ProportioningTest.objects.filter(
        key=key_on_the_device(draft.visit, second, meter, before=1)
    ).exists()


def prepared_and_given_up(scene, visit, device, instrument):
    """At home, after the phone took its day along."""
    test = prepare_test(
        actor=scene.contractor, visit=visit, proportioner=device, at=MORNING,
        purpose="retest", bench=preparing.NewBench(instrument),
    )  # fmt: skip
    abandon(actor=scene.contractor, key=test.key, reason="wrong day", at=MORNING)
    return test


def test_begun_under_the_key_of_one_given_up_meanwhile_it_is_refused_before_anything_hangs_on_it(
    scene, draft, phone, second
):
    meter = f"meter {scene.instrument.key} and lot unknown"
    mine = key_on_the_device(draft.visit, second, meter)
    given_up = prepared_and_given_up(scene, draft.visit, second, scene.instrument)
    assert given_up.key == mine
    answer = begin(phone, draft.visit, put_of(scene, second, test=str(mine)))
    assert (answer.state, answer.code, answer.place) == ("refused", "test_given_up", "test")
    assert "stays on this device" in answer.sentence
    assert list(ProportioningTest.objects.filter(proportioner=second)) == [given_up]
    fresh = key_on_the_device(draft.visit, second, meter, before=1)
    assert begin(phone, draft.visit, put_of(scene, second, test=str(fresh))).taken
    assert ProportioningTest.objects.filter(key=fresh).exists()


def test_the_key_of_the_device_stands_where_another_was_given_up_meanwhile(
    scene, draft, phone, other_phone, second
):
    other = InstrumentFactory(organisation=scene.contractor.organisation)
    prepared_and_given_up(scene, draft.visit, second, other)
    mine = key_on_the_device(
        draft.visit, second, f"meter {scene.instrument.key} and lot unknown", before=0
    )
    put = put_of(scene, second, test=str(mine))
    assert begin(phone, draft.visit, put).taken
    phone.say("set_out_bench", {"test": mine})
    water = {"bottle": uuid.uuid5(uuid.uuid5(mine, "bench"), "water")}
    assert phone.say("add_reading", water, {"value": "1.33300", "temperature": "20.0"}).taken
    assert begin(other_phone, draft.visit, put).taken  # the other phone took the day as early
    assert ProportioningTest.objects.filter(proportioner=second, state="draft").count() == 1


def test_a_key_that_follows_from_nothing_is_refused(scene, draft, phone, second):
    for named in (str(uuid.uuid4()), "no key"):
        answer = begin(phone, draft.visit, put_of(scene, second, test=named))
        assert (answer.state, answer.code) == ("refused", "test_key")
    assert not ProportioningTest.objects.filter(proportioner=second).exists()


def test_what_was_handed_in_takes_no_other_words(scene, draft, phone, other_phone, second):
    begin(phone, draft.visit, put_of(scene, second))
    test = ProportioningTest.objects.get(proportioner=second)
    assert states(phone.send(whole_day(phone, test))) == {"taken"}
    same = begin(other_phone, draft.visit, put_of(scene, second))
    assert (same.state, same.code) == ("refused", "back_in_service") or same.taken
    test.refresh_from_db()
    assert test.purpose == "retest"


def test_a_meter_that_is_retired_meanwhile_is_named(scene, draft, phone, second):
    raw = phone.note("begin_test", {"visit": draft.visit.key}, put_of(scene, second))
    day_of_it = MORNING.date()
    retire(actor=scene.contractor, row=scene.instrument, on=day_of_it, today=day_of_it)
    [answer] = phone.send()
    assert (answer.state, answer.code, answer.place) == (
        "refused", "instrument_retired", "instrument",
    )  # fmt: skip
    assert "take it back into use" in answer.sentence
    take_back(actor=scene.contractor, row=scene.instrument)
    [again] = phone.send([raw])
    assert again.taken, again


def test_after_an_engagement_nothing_begins_and_the_day_says_so(scene, draft, phone, second):
    started(phone, draft)
    grant = scene.site.grants.get()
    grant.ends_on = MORNING.date()
    grant.save(by=scene.owner)
    now = MORNING + timedelta(days=10)
    late = Phone(replace(scene.contractor, at=now, today=now.date()), now=now)
    answer = begin(late, draft.visit, put_of(scene, second))
    assert answer.state == "forbidden"
    assert "nothing new begins" in answer.sentence
    assert day(late, draft.visit)["beginning"] == {"may": False, "devices": [], "meters": []}


def test_a_stranger_and_a_device_of_another_site_find_nothing(scene, draft, phone):
    elsewhere = ProportionerFactory()
    answer = begin(phone, draft.visit, put_of(scene, elsewhere))
    assert answer.state == "not_found"


def test_more_proportioners_on_one_tank_ask_no_more(scene, draft, phone):
    def asked():
        with CaptureQueriesContext(connection) as caught:
            day(phone, draft.visit)
        return len(caught)

    ProportionerFactory(system=scene.system, tank=scene.tank, restoration_order=["A valve open"])
    few = asked()
    for _ in range(4):
        ProportionerFactory(
            system=scene.system, tank=scene.tank, restoration_order=["A valve open"]
        )
        InstrumentFactory(organisation=scene.contractor.organisation)
    assert asked() <= few
