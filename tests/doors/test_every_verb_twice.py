"""Every verb, said by two phones in different words: never is the second dropped in silence.

Each is one of these: both stand beside each other; the second is asked, sees what stands, and can
put its own there; both mean the same; or it is refused in words.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest

from itm.core.history import Change
from itm.doors.verbs import VERBS
from itm.records.models import (
    Bottle,
    ConcentrateCheck,
    ConcentrateSample,
    EffluentLine,
    InspectionLine,
    Notice,
    ProportioningTest,
    Reading,
    RestorationLine,
    SampleValue,
    Visit,
)
from tests.checks import lot_of, mixed
from tests.deeds import look_duty
from tests.doors.phone import run_of, whole_day
from tests.doors.two import COLLECTED, LEFT, PERIODIC, PH, WHY, Texts, Two


@pytest.fixture
def two(scene, draft, phone, other_phone):
    return Two(scene, draft, phone, other_phone)


# Asked: on what it hangs, theirs, mine, what counts as seen, and how what stands is read ----------
@dataclass
class Asked:
    of: Callable[[Two], Texts]
    theirs: Texts
    mine: Texts
    seen: Texts
    stands: Callable[[Two], dict[str, str]]


def column(model: Any, *names: str, **names_of: str) -> Callable[[Two], dict[str, str]]:
    """The last row of it, by the names of the texts."""
    columns = {**{name: name for name in names}, **names_of}

    def read(two: Two) -> dict[str, str]:
        row = model.objects.order_by("pk").last()
        return {name: str(getattr(row, where)) for name, where in columns.items()}

    return read


def noted(two: Two) -> dict[str, str]:
    return {"level_before": run_of(two.draft).level_before_typed}


def direct_of(two: Two) -> ProportioningTest:
    return ProportioningTest.objects.exclude(pk=two.draft.pk).get()


ASKED = {
    "note_visit": Asked(
        lambda two: two.visit, {"weather": "dry"}, {"weather": "rain"}, {"weather": ""},
        column(Visit, "weather"),
    ),
    "start_test_day": Asked(
        lambda two: two.visit, {"reason": "yearly test", "coordinator": "Post 1"},
        {"reason": "proportioning test", "coordinator": "Post 2"}, {},
        column(Visit, "coordinator", reason="impairment_reason"),
    ),
    "note_test": Asked(
        lambda two: two.test, {"notes": "windy"}, {"notes": "calm"}, {"notes": ""},
        column(ProportioningTest, "notes"),
    ),
    "note_run": Asked(
        lambda two: two.run, {"level_before": "900 L"}, {"level_before": "880 L"},
        {"level_before": ""}, noted,
    ),
    "withdraw_sample": Asked(Two.sample, *WHY, {}, column(Bottle, reason="withdrawn_reason")),
    "end_line": Asked(
        lambda two: two.started() or two.line, LEFT, {**LEFT, "reason": "seat worn"}, {},
        lambda two: {"reason": RestorationLine.objects.get(key=two.line["line"]).reason},
    ),
    "put_back": Asked(
        lambda two: two.started() or ({"line": two.made("end_line", two.line, LEFT)} and two.line),
        *WHY, {}, column(RestorationLine, "reason"),
    ),
    "set_volumes": Asked(
        Two.standard, {"concentrate_ml": "6.0", "water_ml": "194.0"},
        {"concentrate_ml": "5.9", "water_ml": "194.0"}, {"concentrate_ml": "", "water_ml": ""},
        lambda two: {
            "concentrate_ml": str(
                Bottle.objects.filter(role="standard").first().concentrate_ml_typed
            )
        },
    ),
    "set_masses": Asked(
        Two.standard, {"concentrate_g": "6.24", "water_g": "194.0"},
        {"concentrate_g": "6.25", "water_g": "194.0"}, {"concentrate_g": "", "water_g": ""},
        lambda two: {
            "concentrate_g": Bottle.objects.filter(role="standard").first().concentrate_g_typed
        },
    ),
    "withdraw_standard": Asked(
        Two.standard, *WHY, {},
        lambda two: {"reason": Bottle.objects.filter(role="standard").first().withdrawn_reason},
    ),
    "note_bench": Asked(
        lambda two: two.test, {"notes": "cold room"}, {"notes": "warm room"}, {"notes": ""},
        lambda two: {"notes": ProportioningTest.objects.get(pk=two.draft.pk).bench.notes},
    ),
    "set_aside": Asked(Two.reading, *WHY, {}, column(Reading, reason="set_aside_reason")),
    "note_check": Asked(
        Two.check, {"checked_on": "2026-06-14"}, {"checked_on": "2026-06-13"},
        {"checked_on": "2026-06-15"}, column(ConcentrateCheck, "checked_on"),
    ),
    "note_check_sample": Asked(
        Two.tank_bottle, {"look": "clear"}, {"look": "cloudy"}, {"look": ""},
        column(ConcentrateSample, "look"),
    ),
    "withdraw_check_sample": Asked(
        Two.tank_bottle, *WHY, {}, column(ConcentrateSample, reason="withdrawn_reason")
    ),
    "add_value": Asked(
        Two.tank_bottle, PH, {**PH, "value": "7.4"}, {}, column(SampleValue, value="value_typed")
    ),
    "set_aside_value": Asked(Two.value, *WHY, {}, column(SampleValue, reason="set_aside_reason")),
    "note_setup": Asked(
        lambda two: {"test": two.direct().key}, {"concentrate_fitted": "FT-3"},
        {"concentrate_fitted": "FT-4"}, {"concentrate_fitted": ""},
        lambda two: {"concentrate_fitted": direct_of(two).direct.concentrate_fitted},
    ),
    "note_measured": Asked(
        lambda two: {"run": two.direct().runs.first().key}, {"duration": "2:30"},
        {"duration": "2:20"}, {"duration": ""},
        lambda two: {"duration": direct_of(two).runs.first().direct.duration_typed},
    ),
}  # fmt: skip


@pytest.mark.parametrize("verb", ASKED)
def test_other_words_are_asked_for_and_can_be_put_in_place(two, verb):
    case = ASKED[verb]
    of = case.of(two)
    assert two.other.say(verb, of, case.theirs, case.seen).taken
    before = case.stands(two)
    mine = two.phone.note(verb, of, case.mine, case.seen)
    [answer] = two.phone.send([mine])
    assert answer.state == "crossed"
    assert answer.now
    assert all(answer.now[name] == text for name, text in before.items() if name in answer.now)
    assert answer.place in answer.now
    assert len(answer.sentence) > 40
    assert case.stands(two) == before
    again = two.phone.say(verb, of, case.mine, {**case.seen, **answer.now}, at=mine["at"])
    assert again.state == "taken", again
    after = case.stands(two)
    assert after != before
    assert all(after[name] == case.mine[name] for name in after)


# Undone: what was seen is not what stands by now --------------------------------------------------
@dataclass
class Undone:
    """`does` is done by the late phone, then undone and done otherwise by the other one."""

    of: Callable[[Two], Texts]
    does: str
    put: tuple[Texts, Texts]
    sees: str
    stands: Callable[[Two], Any]


UNDONE = {
    "take_back_start": Undone(
        lambda two: two.visit, "start_test_day",
        ({"reason": "one", "coordinator": "Post 1"}, {"reason": "two", "coordinator": "Post 1"}),
        "started_at", lambda two: Visit.objects.get().started_at,
    ),
    "take_back_foam": Undone(
        lambda two: two.started() or two.run, "foam_seen", ({}, {}), "foam_seen_at",
        lambda two: run_of(two.draft).foam_seen_at,
    ),
    "bring_back_sample": Undone(
        Two.sample, "withdraw_sample", WHY, "withdrawn_reason",
        lambda two: Bottle.objects.get(label="D1").withdrawn_reason,
    ),
    "flush_undone": Undone(
        lambda two: two.started() or two.step, "flush_done", ({}, {}), "done_at",
        lambda two: two.draft.flush_steps.get(key=two.step["step"]).done_at,
    ),
    "reopen_line": Undone(
        lambda two: two.started() or two.line, "end_line", ({"outcome": "restored"}, LEFT),
        "outcome", lambda two: RestorationLine.objects.get(key=two.line["line"]).outcome,
    ),
    "bring_back_reading": Undone(
        Two.reading, "set_aside", WHY, "set_aside_reason",
        lambda two: Reading.objects.get().set_aside_reason,
    ),
    "bring_back_check_sample": Undone(
        Two.tank_bottle, "withdraw_check_sample", WHY, "withdrawn_reason",
        lambda two: ConcentrateSample.objects.get().withdrawn_reason,
    ),
    "bring_back_value": Undone(
        Two.value, "set_aside_value", WHY, "set_aside_reason",
        lambda two: SampleValue.objects.get().set_aside_reason,
    ),
}  # fmt: skip


@pytest.mark.parametrize("undo", UNDONE)
def test_an_undo_undoes_what_was_seen_and_nothing_else(two, undo):
    case = UNDONE[undo]
    of = case.of(two)
    one, another = case.put
    two.made(case.does, of, one)
    saw = _text(case.stands(two))
    assert two.other.say(undo, of).taken
    two.other.now += timedelta(minutes=5)
    assert two.other.say(case.does, of, another).taken
    stands = case.stands(two)
    answer = two.phone.say(undo, of, {}, {case.sees: saw})
    assert (answer.state, answer.now) == ("crossed", {case.sees: _text(stands)})
    assert two.other.actor.person in answer.sentence
    assert case.stands(two) == stands
    assert two.phone.say(undo, of, {}, answer.now).taken
    assert not case.stands(two)


@pytest.mark.parametrize("undo", UNDONE)
def test_an_undo_of_what_was_seen_asks_nothing(two, undo):
    case = UNDONE[undo]
    of = case.of(two)
    two.made(case.does, of, case.put[0])
    saw = _text(case.stands(two)).replace("+00:00", "Z")  # as a device writes it
    assert two.other.say(undo, of, {}, {case.sees: saw}).taken
    assert not case.stands(two)
    assert two.phone.say(undo, of, {}, {case.sees: saw}).taken  # undone already


def _text(stands: Any) -> str:
    return stands if isinstance(stands, str) else stands.isoformat()


# Beside each other --------------------------------------------------------------------------------
BESIDE: dict[str, tuple[Any, Callable[[Two], Texts], Texts, Texts]] = {
    "add_notice": (Notice, lambda two: two.visit, {"told": "Owner"}, {"told": "Fire service"}),
    "add_sample": (
        Bottle, lambda two: two.started() or two.run, {"label": "A"}, {"label": "B"},
    ),
    "add_standard": (
        Bottle, lambda two: two.test, {"target_percent": "3"}, {"target_percent": "4"},
    ),
    "add_reading": (Reading, Two.water, {"value": "1.33300"}, {"value": "1.33301"}),
    "begin_check": (
        ConcentrateCheck, lambda two: lot_of(two.scene) and {"tank": two.scene.tank.key},
        {**PERIODIC, "notes": "one"}, {**PERIODIC, "notes": "two"},
    ),
    "add_check_sample": (
        ConcentrateSample, Two.check, {"point": "top", "label": "A"},
        {"point": "bottom", "label": "B"},
    ),
    "note_effluent": (
        EffluentLine, lambda two: two.started() or two.visit, COLLECTED,
        {**COLLECTED, "volume": "200 L"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("verb", BESIDE)
def test_two_of_them_stand_beside_each_other(two, verb):
    model, of, theirs, mine = BESIDE[verb]
    hangs = of(two)
    raws = [two.other.note(verb, hangs, theirs), two.phone.note(verb, hangs, mine)]
    assert all(one.taken for one in two.other.send() + two.phone.send())
    assert model.objects.filter(key__in=[raw["key"] for raw in raws]).count() == 2


def test_two_plans_of_a_day_are_two_days_and_two_tests_two_records(two):
    site = {"site": str(two.scene.site.key), "planned_on": "2026-06-15"}
    for phone, crew in ((two.other, "Two"), (two.phone, "Three")):
        assert phone.say("plan_visit", {}, {**site, "crew": crew}).taken
    assert {"Two", "Three"} <= set(Visit.objects.values_list("crew", flat=True))
    device = {"proportioner": str(two.scene.proportioner.key), "purpose": "periodic"}
    answers = [
        phone.say("prepare_test", two.visit, {**device, "notes": notes})
        for phone, notes in ((two.other, "one"), (two.phone, "two"))
    ]
    kept = set(ProportioningTest.objects.values_list("notes", flat=True))
    for answer, notes in zip(answers, ("one", "two"), strict=True):
        assert (notes in kept) if answer.taken else answer.sentence, answer


# Said without words of its own, or once for good --------------------------------------------------
SAME: dict[str, Callable[[Two], Texts]] = {
    "flush_done": lambda two: two.started() or two.step,
    "set_out_bench": lambda two: two.test,
    "add_system_water": lambda two: two.test,
}


@pytest.mark.parametrize("verb", SAME)
def test_both_mean_the_same(two, verb):
    of = SAME[verb](two)
    assert two.other.say(verb, of).taken
    assert two.phone.say(verb, of).taken


def test_a_flow_point_run_after_all_by_both_is_one_run(two):
    put = {"flow_point": str(run_of(two.draft).flow_point.key)}
    first, second = (phone.say("add_run", two.test, put) for phone in (two.other, two.phone))
    assert first.now == second.now


def test_foam_at_two_moments_is_asked_for(two):
    two.started()
    assert two.other.say("foam_seen", two.run).taken
    two.phone.now += timedelta(minutes=1)
    answer = two.phone.say("foam_seen", two.run)
    assert (answer.state, set(answer.now)) == ("crossed", {"foam_seen_at"})


def test_another_reason_why_effluent_was_noted_wrongly_stays_in_the_history(two):
    of = two.effluent()
    assert two.other.say("withdraw_effluent", of, {"because": "noted twice"}).taken
    assert two.phone.say("withdraw_effluent", of, {"because": "noted twice"}).taken
    mine = {"because": "a zero too many"}
    answer = two.phone.say("withdraw_effluent", of, mine)
    assert (answer.state, answer.now) == ("crossed", {"because": "noted twice"})
    assert two.phone.say("withdraw_effluent", of, mine, answer.now).taken
    row = EffluentLine.objects.get()
    assert row.withdrawn_because == "noted twice"
    notes = Change.objects.filter(model="records.EffluentLine", object_key=row.key)
    assert "a zero too many" in notes.values_list("note", flat=True)


@pytest.mark.parametrize("verb", ["hand_in", "hand_in_check"])
def test_what_was_handed_in_is_not_handed_in_again_and_it_is_said(two, verb):
    if verb == "hand_in":
        assert all(one.taken for one in two.other.send(whole_day(two.other, two.draft)))
        of = two.test
    else:
        of = two.check()
        filled = {"sample": two.made("add_check_sample", of, {"point": "top", "label": "T1"})}
        values = {**mixed(1.0), "ph": "7.6"}
        for name, typed in values.items():
            typed = f"{typed} kg/m³" if name == "density" else typed
            two.made("add_value", filled, {"property": name, "value": typed, "temperature": "20"})
        assert two.other.say(verb, of).taken
    answer = two.phone.say(verb, of)
    assert (answer.state, answer.code) == ("refused", "wrong_state")
    assert "handed in" in answer.sentence


def test_a_task_inspected_by_both_is_one_line_or_asked(two):
    put = {"duty": str(look_duty(two.scene).key)}
    fine, leaks = (
        ["places: top", "paper: R-1", "fit: yes"],
        ["places: top", "paper: R-1", "fit: no"],
    )
    assert two.other.say("inspect", two.visit, {**put, "answers": fine}).taken
    assert two.phone.say("inspect", two.visit, {**put, "answers": fine}).code == "stood_already"
    mine = {**put, "answers": leaks}
    answer = two.phone.say("inspect", two.visit, mine)
    assert (answer.state, answer.now["answers"]) == ("crossed", fine)
    seen = {**answer.now, "answers": "\n".join(fine)}
    assert two.phone.say("inspect", two.visit, mine, seen).taken
    outcomes = InspectionLine.objects.order_by("pk").values_list("outcome", flat=True)
    assert list(outcomes) == ["in_order", "fault"]


def test_the_tables_name_every_verb():
    alone = {
        "plan_visit", "prepare_test", "add_run", "foam_seen", "withdraw_effluent", "hand_in",
        "hand_in_check", "inspect", "inspect_site", "begin_test",  # twice in test_begin_test.py
    }  # fmt: skip
    named = [*ASKED, *UNDONE, *BESIDE, *SAME, *alone]
    assert sorted(named) == sorted(VERBS)
