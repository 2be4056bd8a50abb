"""The day as one object: all that a device needs, of what its reader may see, in few queries."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.actions.abandon import abandon
from itm.core.errors import NotFound
from itm.doors.day import day_of, days_of
from itm.records import checking, preparing
from itm.records.check_forms import CheckForm
from itm.records.models import Bottle, Reading
from tests import checks
from tests.deeds import tested
from tests.doors.phone import MORNING, Phone, run_of, started, states, whole_day
from tests.factories import OrganisationFactory, ProportionerFactory, actor_of


def day(draft, actor):
    return json.loads(json.dumps(day_of(actor, draft.visit.key, at=MORNING)))


def test_a_prepared_day_holds_all_there_is_to_do(scene, draft):
    found = day(draft, scene.contractor)
    [test] = found["tests"]
    [bench] = found["benches"]
    assert {run["name"] for run in test["runs"]} == {"minimum", "design"}
    assert len(test["flush"]) == draft.flush_steps.count() > 0
    assert len(found["restoration"]) == draft.visit.restoration_lines.count() > 0
    assert test["band"] == {"lower": "3", "upper": "3.9"}
    assert found["engine_version"] == "2.1"
    assert found["may"] == {"write": True, "hand_in": True}
    assert all(found["cautions"].values())
    assert bench["fields"]["value"]["decimals"] == 5
    assert bench["fields"]["value"]["step"] == "0.00001"
    assert [bottle["set_out"] for bottle in bench["bottles"]] == [False] * 6
    standards = [bottle for bottle in bench["bottles"] if bottle["role"] == "standard"]
    assert [bottle["recipe"]["concentrate"] for bottle in standards] == ["4", "6", "8"]


def test_what_may_be_set_out_has_the_keys_that_it_will_have(draft, phone):
    before = {b["key"] for b in day(draft, phone.actor)["benches"][0]["bottles"]}
    phone.say("set_out_bench", {"test": draft.key})
    assert before == {str(key) for key in Bottle.objects.values_list("key", flat=True)}
    after = day(draft, phone.actor)["benches"][0]["bottles"]
    assert {b["key"] for b in after if b["set_out"]} == before


def test_a_worked_day_tells_what_was_entered_as_typed(draft, phone):
    assert states(phone.send(whole_day(phone, draft)[:-1])) == {"taken"}
    found = day(draft, phone.actor)
    run = next(run for run in found["tests"][0]["runs"] if run["name"] == "design")
    assert (run["solution_flow"], run["flow_source"]) == ("1900 L/min", "meter")
    assert found["visit"]["ambient_c"] == "12 °C"
    assert all(line["outcome"] == "restored" for line in found["restoration"])
    readings = [r for b in found["benches"][0]["bottles"] for r in b["readings"]]
    assert len(readings) == Reading.objects.count() == 11


def test_the_same_day_has_the_same_digest_and_another_another(draft, phone):
    first = day_of(phone.actor, draft.visit.key, at=MORNING)
    later = day_of(phone.actor, draft.visit.key, at=MORNING + timedelta(days=1))
    assert first["digest"] == later["digest"]
    phone.say("note_visit", {"visit": draft.visit.key}, {"weather": "rain"})
    changed = day_of(phone.actor, draft.visit.key, at=MORNING)
    assert changed["digest"] != first["digest"]
    assert changed["frozen"] == first["frozen"]


def test_an_odd_reading_carries_its_question(draft, phone):
    phone.say("set_out_bench", {"test": draft.key})
    water = {"bottle": Bottle.objects.get(role="water").key}
    for shown in ("1.33300", "1.33390"):
        phone.say("add_reading", water, {"value": shown, "temperature": "20.0"})
    bottles = day(draft, phone.actor)["benches"][0]["bottles"]
    questions = [r["question"] for b in bottles for r in b["readings"]]
    assert questions[0] == ""
    assert "Differs by 0.00090" in questions[1]


def test_a_stranger_finds_no_day(draft):
    with pytest.raises(NotFound):
        day_of(actor_of(OrganisationFactory(kind="contractor")), draft.visit.key)


def test_the_owner_sees_a_started_day_without_its_draft(scene, draft, phone):
    with pytest.raises(NotFound):
        day_of(scene.owner, draft.visit.key)
    started(phone, draft)
    found = day(draft, scene.owner)
    assert found["tests"] == found["benches"] == []
    assert found["may"]["write"] is False


def test_a_sealed_day_says_why_it_is_closed(scene):
    sealed = tested(scene)
    found = day(sealed, scene.contractor)
    assert "sealed" in found["tests"][0]["closed"]
    assert "sealed" in found["benches"][0]["closed"]
    assert found["visit"]["closed"]


def test_days_are_those_with_something_left_to_do(scene, draft):
    tested(scene)
    assert [one["key"] for one in days_of(scene.contractor)] == [str(draft.visit.key)]
    assert days_of(scene.contractor)[0]["tests"] == 1
    assert days_of(scene.owner) == []


def queries_for(actor, draft) -> int:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        day_of(actor, draft.visit.key)
    return len(caught)


def test_a_day_takes_as_many_queries_with_ten_times_the_readings(scene, draft, phone):
    phone.send(whole_day(phone, draft)[:-1])
    few = queries_for(phone.actor, draft)
    run = run_of(draft)
    for number in range(4, 16):
        phone.note("add_sample", {"run": run.key}, {"label": f"design {number}"})
    for bottle in Bottle.objects.all():
        for _ in range(9):
            phone.note("add_reading", {"bottle": bottle.key}, {"value": "1.33300"})
    phone.queue = [raw for raw in phone.queue if raw["verb"] in ("add_sample", "add_reading")]
    phone.send()
    assert Reading.objects.count() > 100
    assert queries_for(phone.actor, draft) == few <= 30


def test_another_test_on_the_same_bench_asks_no_more(scene, draft, phone):
    few = queries_for(phone.actor, draft)
    device = ProportionerFactory(system=scene.system, tank=scene.tank)
    preparing.prepare_test(
        actor=scene.contractor, visit=draft.visit, proportioner=device, bench=draft.bench,
        at=MORNING, purpose="periodic",
    )  # fmt: skip
    assert queries_for(phone.actor, draft) <= few + 1


def test_a_check_tells_its_crew_which_labels_are_taken_wherever_they_stand(scene, draft, phone):
    """The bottle of a check that was given up is in no day, and its label is taken all the same."""
    given_up = checks.begun(scene)
    label = checks.bottle(given_up, scene.contractor).label
    checks.bottle(given_up, scene.contractor, label="B 17")  # no label that would be proposed
    abandon(actor=scene.contractor, key=given_up.key, reason="wrong tank", at=MORNING)
    checks.begun(scene)
    [told] = day(draft, scene.contractor)["checks"]
    assert (told["samples"], told["labels_taken"]) == ([], [label])
    checks.checked(scene)
    started(phone, draft)
    assert [one["labels_taken"] for one in day(draft, scene.owner)["checks"]] == [[]]


def test_a_day_brings_what_a_check_is_asked_as_it_begins_at_each_tank(scene, draft, phone):
    """What the page of the tank asks, and every verb takes what its form here would send."""
    checks.lot_of(scene)
    told = day_of(phone.actor, draft.visit.key)["checking"]
    [tank] = told["tanks"]
    assert (tank["tag"], told["may"]) == (scene.tank.tag, True)
    assert [one["name"] for one in told["begin_check"]] == [
        name for name in CheckForm.base_fields if name not in ("key", "checked_on")
    ]
    kinds = {one["name"]: one["kind"] for one in told["begin_check"]}
    assert (kinds["programmes"], kinds["circulated"]) == ("choices", "choice")
    [choices] = [one["choices"] for one in told["begin_check"] if one["name"] == "programmes"]
    begun = phone.say(
        "begin_check", {"tank": tank["key"]},
        {**tank["usual"], "programmes": [choices[0][0]], "checked_on": "2026-06-15"},
    )  # fmt: skip
    assert begun.taken, begun
    day = day_of(phone.actor, draft.visit.key)
    [check] = day["checks"]
    assert check["programmes"] == choices[0][0]
    assert Decimal(check["u_density"]) == checking.U_DENSITY
    assert check["usual_points"] == tank["usual_points"]
    assert day["checking"]["tanks"][0]["usual"]["programmes"] == choices[0][0]  # as the last time
    circulated = phone.say(
        "note_check", {"check": check["key"]}, {"circulated": "True", "programmes": []},
        {"circulated": "False", "programmes": check["programmes"]},
    )  # fmt: skip
    assert circulated.taken, circulated
    [check] = day_of(phone.actor, draft.visit.key)["checks"]
    assert (check["circulated"], check["programmes"]) == (True, "")
    assert check["usual_points"] == tank["points_circulated"]
    put = {"point": "top", "label": "T 1"}
    bottle = phone.note("add_check_sample", {"check": check["key"]}, put)
    away = {"laboratory": "A laboratory", "sent_on": "2026-06-15", "consignment": "D-7"}
    assert list(away) == [one["name"] for one in told["note_check_sample"]][:3]
    phone.note("note_check_sample", {"sample": bottle["key"]}, away)
    assert all(answer.taken for answer in phone.send())
    [check] = day_of(phone.actor, draft.visit.key)["checks"]
    assert check["samples"][0]["consignment"] == "D-7"
    assert check["samples"][0]["under_way"] == "under way to A laboratory since 15 Jun 2026"


def test_only_who_belongs_to_the_crew_sends(scene, draft):
    assert Phone(scene.authority).say("set_out_bench", {"test": draft.key}).state == "not_found"
