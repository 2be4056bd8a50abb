"""Two phones on one visit: line by line they merge, and only the same field twice is a conflict."""

from datetime import timedelta

import pytest

from itm.records.models import (
    Bottle,
    RestorationLine,
)
from tests.doors.phone import run_of, started, states


def test_different_fields_of_one_row_merge(draft, phone, other_phone):
    run = {"run": run_of(draft).key}
    phone.note(
        "note_run", run, {"solution_flow": "850 L/min", "flow_source": "meter"},
        {"solution_flow": "", "flow_source": ""},
    )  # fmt: skip
    other_phone.note(
        "note_run", run, {"inlet_pressure": "7.2 bar"}, {"inlet_pressure": ""}
    )  # fmt: skip
    assert states(other_phone.send()) | states(phone.send()) == {"taken"}
    row = run_of(draft)
    assert (row.solution_flow_typed, row.inlet_pressure_typed) == ("850 L/min", "7.2 bar")


def test_the_same_field_twice_is_crossed_and_says_who_wrote_what(draft, phone, other_phone):
    run = {"run": run_of(draft).key}
    other_phone.say("note_run", run, {"level_before": "900 L"}, {"level_before": ""})
    answer = phone.say("note_run", run, {"level_before": "880 L"}, {"level_before": ""})
    assert (answer.state, answer.place) == ("crossed", "level_before")
    assert answer.now == {"level_before": "900 L"}
    assert other_phone.actor.person in answer.sentence
    assert "900 L" in answer.sentence
    assert "880 L" in answer.sentence
    assert run_of(draft).level_before_typed == "900 L"
    mine = phone.say("note_run", run, {"level_before": "880 L"}, answer.now)
    assert mine.state == "taken"
    assert run_of(draft).level_before_typed == "880 L"


OUTLETS = {"outlets": ["38 mm; 0.90; 2.1 bar"]}
NO_FLOW = {"outlets": "", "solution_flow": "", "flow_source": ""}


@pytest.mark.parametrize("opened", [NO_FLOW, {"outlets": ""}])
def test_outlets_put_no_flow_of_the_other_phone_aside_in_silence(draft, phone, other_phone, opened):
    run = {"run": run_of(draft).key}
    metered = {"solution_flow": "850 L/min", "flow_source": "meter"}
    other_phone.say("note_run", run, metered, {"solution_flow": "", "flow_source": ""})
    answer = phone.say("note_run", run, OUTLETS, opened)
    assert (answer.state, answer.now) == ("crossed", metered)
    assert other_phone.actor.person in answer.sentence
    row = run_of(draft)
    assert (row.solution_flow_typed, row.outlets) == ("850 L/min", [])
    assert phone.say("note_run", run, OUTLETS, {**opened, **answer.now}).taken
    row = run_of(draft)
    assert (row.flow_source, row.outlets) == ("pitot", OUTLETS["outlets"])


def test_outlets_take_the_place_of_a_flow_that_was_seen(draft, phone):
    run = {"run": run_of(draft).key}
    metered = {"solution_flow": "850 L/min", "flow_source": "meter"}
    phone.say("note_run", run, metered)
    assert phone.say("note_run", run, OUTLETS, {**NO_FLOW, **metered}).taken
    assert run_of(draft).flow_source == "pitot"


def test_without_what_was_opened_nothing_is_compared(draft, phone, other_phone):
    run = {"run": run_of(draft).key}
    other_phone.say("note_run", run, {"level_before": "900 L"})
    assert phone.say("note_run", run, {"level_before": "880 L"}).taken
    assert run_of(draft).level_before_typed == "880 L"


def test_two_people_press_for_the_same_foam(draft, phone, other_phone):
    started(phone, draft)
    run = {"run": run_of(draft).key}
    other_phone.now = phone.now + timedelta(seconds=3)
    theirs = other_phone.say("foam_seen", run)
    mine = phone.say("foam_seen", run)
    assert (theirs.state, mine.state) == ("taken", "crossed")
    assert run_of(draft).foam_seen_at == other_phone.now
    again = phone.say("foam_seen", run, opened=mine.now)
    assert again.state == "taken"
    assert run_of(draft).foam_seen_at == phone.now


def test_one_line_ended_twice_the_same_way_is_no_conflict(draft, phone, other_phone):
    started(phone, draft)
    line = RestorationLine.objects.order_by("position").first()
    assert other_phone.say("end_line", {"line": line.key}, {"outcome": "restored"}).taken
    again = phone.say("end_line", {"line": line.key}, {"outcome": "restored"})
    assert (again.state, again.code) == ("taken", "stood_already")
    line.refresh_from_db()
    assert line.ended_by == other_phone.actor.person


def test_one_line_ended_in_two_ways_is_settled_by_a_person(draft, phone, other_phone):
    started(phone, draft)
    line = RestorationLine.objects.order_by("position").first()
    other_phone.say("end_line", {"line": line.key}, {"outcome": "restored"})
    left_out = {
        "outcome": "left_out", "reason": "stem bent", "handed_to": "the duty engineer",
    }  # fmt: skip
    crossed = phone.say("end_line", {"line": line.key}, left_out)
    assert (crossed.state, crossed.now["outcome"]) == ("crossed", "restored")
    settled = phone.say("end_line", {"line": line.key}, left_out, {"outcome": "restored"})
    assert settled.state == "taken"
    line.refresh_from_db()
    assert (line.outcome, line.handed_at) == ("left_out", phone.now)


def test_a_pair_of_volumes_is_one_thing(draft, phone, other_phone):
    phone.say("set_out_bench", {"test": draft.key})
    bottle = {"bottle": Bottle.objects.filter(role="standard").first().key}
    empty = {"concentrate_ml": "", "water_ml": ""}
    other_phone.say("set_volumes", bottle, {"concentrate_ml": "6.0", "water_ml": "194.0"}, empty)
    mine = phone.say(
        "set_volumes", bottle, {"concentrate_ml": "5.9", "water_ml": "194.0"}, empty
    )  # fmt: skip
    assert (mine.state, mine.now) == ("crossed", {"concentrate_ml": "6.0", "water_ml": "194.0"})


def test_a_step_ticked_by_both_stays_with_the_first(draft, phone, other_phone):
    started(phone, draft)
    step = draft.flush_steps.order_by("position").first()
    assert other_phone.say("flush_done", {"step": step.key}).taken
    again = phone.say("flush_done", {"step": step.key})
    assert (again.state, again.code) == ("taken", "stood_already")
    assert again.now["done_by"] == other_phone.actor.person


def test_the_system_was_back_with_the_line_that_ended_last_whichever_phone_sent_last(
    draft, phone, other_phone
):
    started(phone, draft)
    first, *others = draft.visit.restoration_lines.order_by("position")
    phone.note("end_line", {"line": first.key}, {"outcome": "restored"})  # and has no signal
    other_phone.now = phone.now + timedelta(minutes=10)
    for line in others:
        other_phone.note("end_line", {"line": line.key}, {"outcome": "restored"})
    assert states(other_phone.send()) == states(phone.send()) == {"taken"}
    draft.visit.refresh_from_db()
    last = draft.visit.restoration_lines.latest("ended_at")
    assert last.pk == others[-1].pk
    assert draft.visit.restored_at == last.ended_at
    assert draft.visit.restored_by == last.ended_by == other_phone.actor.person


def test_two_standards_of_one_label_are_told_before_anything_is_read_of_the_wrong_one(
    draft, phone, other_phone
):
    on = {"test": draft.key}
    phone.say("set_out_bench", on, {})
    assert phone.say("add_standard", on, {"target_percent": "6", "label": "S4"}).taken
    mine = other_phone.note("add_standard", on, {"target_percent": "1", "label": "S4"})
    read = other_phone.note("add_reading", {"bottle": mine["key"]}, {"value": "1.33400"})
    answers = {str(answer.key): answer for answer in other_phone.send()}
    assert (answers[mine["key"]].state, answers[mine["key"]].code) == ("refused", "label_used")
    assert "Write S5 on yours" in answers[mine["key"]].sentence
    assert not answers[read["key"]].taken
    bench = draft.bench
    assert [row.target_percent for row in bench.bottles.filter(label="S4")] == [6]
    assert other_phone.say(
        "add_standard", on, {"target_percent": "1", "label": "S5"}, key=mine["key"]
    ).taken
    assert other_phone.say("add_reading", {"bottle": mine["key"]}, {"value": "1.33400"}).taken
    assert bench.bottles.get(label="S5").readings.count() == 1
