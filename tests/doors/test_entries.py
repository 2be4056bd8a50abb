"""Entries of a test day: each whole or not at all, none twice, and none lost in silence."""

from datetime import timedelta
from uuid import uuid4

import pytest

from itm.core.history import Change
from itm.doors.verbs import VERBS
from itm.intake.models import Receipt
from itm.records.models import (
    Bottle,
    Notice,
    Reading,
    RestorationLine,
)
from tests.deeds import tested
from tests.doors.phone import Phone, run_of, started, states, whole_day
from tests.factories import OrganisationFactory, actor_of

# The whole day -------------------------------------------------------------------------------


def test_a_whole_day_is_taken_and_judged_as_if_typed_on_the_pages(scene, draft, phone):
    answers = phone.send(whole_day(phone, draft))
    assert [a for a in answers if a.state != "taken"] == []
    draft.refresh_from_db()
    assert draft.state == "handed_in"
    other = tested(scene, {"minimum": 3.2, "design": 3.4}, until="handed_in")
    digests = {t.evaluations.get().inputs_digest for t in (draft, other)}
    assert len(digests) == 1


def test_a_day_sent_ten_times_is_one_day(draft, phone):
    day = whole_day(phone, draft)
    first = phone.send(day)
    before = Change.objects.count()
    for _ in range(9):
        again = phone.send(day)
        assert states(again) == {"taken_before"}
        assert [a.now for a in again] == [a.now for a in first]
    assert Change.objects.count() == before
    assert Receipt.objects.count() == len(day)


def test_what_came_by_a_device_is_told_in_the_history(draft, other_phone):
    started(other_phone, draft)
    change = Change.objects.filter(model="records.Visit", object_key=draft.visit.key).last()
    assert (change.person, change.via) == (other_phone.actor.person, "field")
    draft.visit.refresh_from_db()
    assert draft.visit.started_at == other_phone.now


def test_rows_get_the_key_that_the_device_made(draft, phone):
    phone.send(whole_day(phone, draft))
    for raw in phone.queue:
        made = {"add_notice": Notice, "add_sample": Bottle, "add_reading": Reading}.get(raw["verb"])
        if made:
            assert made.objects.filter(key=raw["key"]).exists()


def test_two_phones_that_set_out_the_bench_with_no_signal_mean_the_same_bottles(
    draft, phone, other_phone
):
    """Each reads the water on its own, before either has an answer."""
    from itm.records.bench import to_set_out

    water = to_set_out(draft)[0].key
    for one, shown in ((phone, "1.33300"), (other_phone, "1.33301")):
        one.note("set_out_bench", {"test": draft.key})
        one.note("add_reading", {"bottle": water}, {"value": shown, "temperature": "20.0"})
    assert states(phone.send()) | states(other_phone.send()) == {"taken"}
    assert Bottle.objects.filter(role="water").count() == 1
    assert Reading.objects.filter(bottle__key=water).count() == 2


# One entry and the others --------------------------------------------------------------------


def test_one_that_fails_does_not_stop_the_others(draft, phone):
    started(phone, draft)
    phone.note("note_run", {"run": run_of(draft).key}, {"solution_flow": "850 L/min"})
    phone.note("foam_seen", {"run": run_of(draft).key})
    wrong, right = phone.send()
    assert (wrong.state, wrong.code, wrong.place) == ("refused", "source_missing", "flow_source")
    assert right.state == "taken"
    run = run_of(draft)
    assert run.solution_flow is None
    assert run.foam_seen_at == phone.now


def test_outlets_come_as_a_list_and_make_the_flow(draft, phone):
    run = {"run": run_of(draft).key}
    outlet = "38 mm; 0.90; 2.1 bar"
    answer = phone.say("note_run", run, {"outlets": [outlet, outlet]}, {"outlets": ""})
    assert (answer.state, run_of(draft).flow_source) == ("taken", "pitot")
    crossed = phone.say("note_run", run, {"outlets": [outlet]}, {"outlets": ""})
    assert (crossed.state, crossed.now) == ("crossed", {"outlets": f"{outlet}\n{outlet}"})
    wrong = phone.say("note_run", run, {"outlets": "38 mm"})
    assert (wrong.state, wrong.code, wrong.place) == ("refused", "not_a_list", "outlets")


def test_an_entry_that_was_refused_may_come_again_under_its_key(draft, phone):
    raw = phone.note("foam_seen", {"run": run_of(draft).key})
    [early] = phone.send([raw])
    assert (early.state, early.code) == ("refused", "waits")
    started(phone, draft)
    [later] = phone.send([raw])
    assert later.state == "taken"
    assert run_of(draft).foam_seen_at.isoformat() == raw["at"]


def test_another_thing_under_a_used_key_is_refused(draft, phone):
    run = run_of(draft)
    key = uuid4()
    phone.say("note_run", {"run": run.key}, {"level_before": "900 L"}, key=key)
    answer = phone.say("note_run", {"run": run.key}, {"level_before": "800 L"}, key=key)
    assert (answer.state, answer.code) == ("refused", "other_body")
    assert run_of(draft).level_before_typed == "900 L"


def test_a_key_that_a_row_has_already_makes_no_second_row(draft, phone):
    notice = phone.say("add_notice", {"visit": draft.visit.key}, {"told": "Fire service"})
    Receipt.objects.all().delete()  # as when old ones were cleared away
    again = phone.say(
        "add_notice", {"visit": draft.visit.key}, {"told": "Owner"}, key=notice.now["notice"]
    )
    assert (again.state, again.code) == ("refused", "key_used")
    assert Notice.objects.get().told == "Fire service"


def test_a_reading_waits_for_its_bottle(draft, phone):
    started(phone, draft)
    sample = phone.note("add_sample", {"run": run_of(draft).key}, {"label": "D1"})
    reading = phone.note("add_reading", {"bottle": sample["key"]}, {"value": "1.33360"})
    [early] = phone.send([reading])
    assert (early.state, early.code, early.place) == ("refused", "waits", "bottle")
    assert states(phone.send([sample, reading])) == {"taken"}
    assert Reading.objects.get().read_at.isoformat() == reading["at"]


def test_a_test_is_not_handed_in_over_the_head_of_what_was_refused(draft, phone):
    day = whole_day(phone, draft)
    bad = next(raw for raw in day if raw["verb"] == "add_reading")
    bad["put"]["value"] = "13.336"
    last = phone.send(day)[-1]
    assert (last.state, last.code) == ("refused", "waits")
    draft.refresh_from_db()
    assert draft.state == "draft"
    bad["put"]["value"] = "1.33300"
    assert phone.send(day)[-1].state == "taken"


def test_the_stop_keeps_its_order_whatever_comes_in_first(draft, phone):
    started(phone, draft)
    steps = [
        phone.note("flush_done", {"step": step.key})
        for step in draft.flush_steps.order_by("position")
    ]
    first, second = phone.send([steps[1], steps[0]])
    assert (first.state, first.code) == ("refused", "waits")
    assert second.state == "taken"
    assert states(phone.send(steps)) == {"taken", "taken_before"}


# Who may -------------------------------------------------------------------------------------


@pytest.mark.parametrize("verb", ["note_run", "add_reading", "hand_in", "note_visit", "end_line"])
def test_a_stranger_learns_nothing(draft, phone, verb):
    phone.say("set_out_bench", {"test": draft.key})
    row = {
        "run": run_of(draft), "bottle": Bottle.objects.first(), "test": draft,
        "visit": draft.visit, "line": RestorationLine.objects.first(),
    }[VERBS[verb].of]  # fmt: skip
    stranger = Phone(actor_of(OrganisationFactory(kind="contractor")))
    put = {"add_reading": {"value": "1.33300"}}.get(verb, {})
    theirs = stranger.say(verb, {VERBS[verb].of: row.key}, put)
    nobodys = stranger.say(verb, {VERBS[verb].of: uuid4()}, put)
    assert (theirs.state, theirs.code) == (nobodys.state, nobodys.code)
    assert theirs.sentence == nobodys.sentence
    assert not theirs.taken


def test_the_owner_sees_a_started_day_and_may_not_write_in_it(scene, draft, phone):
    started(phone, draft)
    owner = Phone(scene.owner)
    answer = owner.say("add_notice", {"visit": draft.visit.key}, {"told": "Fire service"})
    assert answer.state == "forbidden"
    assert owner.say("note_run", {"run": run_of(draft).key}, {}).state == "not_found"


def test_a_sealed_test_takes_no_more(scene):
    sealed = tested(scene)
    phone = Phone(scene.contractor)
    run = sealed.runs.first()
    bottle = Bottle.objects.filter(run=run).first()
    for verb, of, put in (
        ("note_run", {"run": run.key}, {"level_after": "700 L"}),
        ("add_reading", {"bottle": bottle.key}, {"value": "1.33360"}),
        ("add_sample", {"run": run.key}, {}),
        ("note_bench", {"test": sealed.key}, {"notes": "later"}),
    ):
        assert phone.say(verb, of, put).code == "not_draft", verb


# Clocks --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ahead", "kept"),
    [
        (timedelta(minutes=4), None),
        (timedelta(hours=12), 43200),
        (-timedelta(days=1), -86400),
    ],
)
def test_a_wrong_clock_is_kept_and_never_corrected(draft, phone, ahead, kept):
    """Pitfall: the clock of a phone wrong by a day or by twelve hours."""
    phone.now += max(ahead, timedelta(0))  # by the clock of the site it is the same day
    raws = whole_day(phone, draft)
    answers = phone.send(raws, ahead=ahead)
    assert states(answers) == {"taken"}
    assert [c.ahead_s for c in draft.visit.device_clocks.all()] == ([kept] if kept else [])
    foam = {raw["at"] for raw in raws if raw["verb"] == "foam_seen"}
    assert {run.foam_seen_at.isoformat() for run in draft.runs.all()} == foam
    assert Receipt.objects.order_by("pk").first().taken_at == phone.now - ahead


def test_a_stamp_to_come_shows_a_clock_that_was_put_right_since(draft, phone):
    raw = phone.note("add_notice", {"visit": draft.visit.key}, {"told": "Owner"})
    phone.now -= timedelta(hours=2)
    assert states(phone.send([raw])) == {"taken"}
    assert draft.visit.device_clocks.get().ahead_s == 7200


def test_what_was_entered_long_ago_is_no_wrong_clock(draft, phone):
    raw = phone.note("add_notice", {"visit": draft.visit.key}, {"told": "Owner"})
    phone.now += timedelta(days=3)
    assert states(phone.send([raw])) == {"taken"}
    assert not draft.visit.device_clocks.exists()
    assert Notice.objects.get().told_at.isoformat() == raw["at"]


def test_readings_stand_in_the_order_they_were_read_not_in_that_of_arrival(draft, phone):
    from itm.records.bench_sheet import sheet

    phone.say("set_out_bench", {"test": draft.key})
    water = {"bottle": Bottle.objects.get(role="water").key}
    raws = [phone.note("add_reading", water, {"value": f"1.3330{n}"}) for n in range(3)]
    phone.send([raws[2], raws[0], raws[1]])
    [stand] = sheet(phone.actor, draft.key).water
    assert [r.value_typed for r in stand.readings] == ["1.33300", "1.33301", "1.33302"]
