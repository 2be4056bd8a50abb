"""From a prepared visit to a sealed record, through the services that every door uses."""

import json
from datetime import date, timedelta

import pytest

from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.core.outbox import Job
from itm.intake.complete import problems
from itm.records import bench as benches
from itm.records import chain
from itm.records.models import Bottle, LatestRecord, ProportioningTest, Seal
from itm.schedule.models import Duty
from tests.deeds import discharged, prepared, read, restored, signed, tested
from tests.factories import actor_of


def codes(test):
    return {p.code for p in problems(test)}


def test_a_whole_day_ends_in_a_sealed_record(scene):
    test = tested(scene, {"minimum": 3.2, "design": 3.4})
    assert (test.state, test.limits, test.certainty) == ("sealed", "in band", "settled")
    seal = test.seal
    assert (seal.number, seal.previous, len(seal.digest)) == (1, "", 64)
    form = chain.parsed(seal)
    points = {p["name"]: p for p in form["evaluation"]["result"]["flow_points"]}
    # The readings were made from these strengths: 1.33300 + 0.0002 for each percent (arithmetic).
    assert points["minimum"]["percent"] == pytest.approx(3.2, abs=1e-6)
    assert points["design"]["percent"] == pytest.approx(3.4, abs=1e-6)
    assert form["seal"]["signer"] == scene.contractor.person
    assert Job.objects.filter(kind="render_report").count() == 1


def test_sealing_moves_the_next_due_date(scene):
    tested(scene, on=date(2026, 6, 15))
    duty = Duty.objects.get(done_on=None, cause="periodic", tank=None)
    # Check value I-03: annual window 9 to 15 months, calendar months (NFPA 25 (2020) 3.7).
    assert duty.counts_from == date(2026, 6, 15)
    assert duty.window_opens_on == date(2027, 3, 15)
    assert duty.due_on == date(2027, 6, 15)
    assert duty.latest_on == date(2027, 9, 15)


def test_lean_result_opens_a_retest_at_once(scene):
    test = tested(scene, {"minimum": 2.4, "design": 3.4})
    assert (test.limits, test.certainty) == ("lean", "settled")
    retest = Duty.objects.get(done_on=None, cause="retest")
    assert retest.due_on == test.tested_on


def test_seals_of_a_site_form_a_chain(scene):
    first = tested(scene, on=date(2025, 6, 10))
    second = tested(scene, on=date(2026, 6, 15))
    assert second.seal.previous == first.seal.digest
    assert (first.seal.number, second.seal.number) == (1, 2)
    assert list(chain.verify()) == []


def test_nothing_is_handed_in_while_a_restoration_line_is_open(scene):
    day = read(discharged(prepared(scene)), {"minimum": 3.2, "design": 3.4})
    assert codes(day.test) == {"restoration_open"}
    with pytest.raises(Refused, match="restoration lines are open") as refusal:
        hand_in(actor=day.actor, key=day.test.key, at=day.tick())
    assert refusal.value.place == "restoring"
    restored(day)
    assert hand_in(actor=day.actor, key=day.test.key, at=day.tick()).state == "handed_in"


def test_an_untouched_draft_says_everything_that_is_missing(scene):
    day = prepared(scene)
    assert codes(day.test) == {
        "flow_missing", "sample_missing", "flush_open", "restoration_open", "water_missing",
    }  # fmt: skip


def test_a_hand_in_repeated_ten_times_is_one(scene):
    day = read(restored(discharged(prepared(scene))), {"minimum": 3.2, "design": 3.4})
    once = day.test.visit.key
    for _ in range(10):
        hand_in(actor=day.actor, key=day.test.key, at=day.now, once=once)
    assert day.test.moves.filter(verb="hand_in").count() == 1
    assert day.test.evaluations.count() == 1


def test_what_was_sent_back_stays_with_its_digest(scene):
    test = tested(scene, until="handed_in")
    first = test.moves.get(verb="hand_in")
    at = test.handed_in_at + timedelta(hours=1)
    with pytest.raises(Refused, match="put right"):
        send_back(actor=scene.owner, key=test.key, reason=" ", at=at)
    back = send_back(actor=scene.owner, key=test.key, reason="which hydrant?", at=at)
    assert (back.state, back.limits) == ("draft", "")
    again = hand_in(actor=scene.contractor, key=test.key, at=at + timedelta(hours=1))
    second = again.moves.filter(verb="hand_in").last()
    assert first.digest != second.digest
    assert json.loads(bytes(first.document))["key"] == str(test.key)
    assert [m["verb"] for m in json.loads(bytes(second.document))["moves"]] == [
        "prepare", "hand_in", "send_back",
    ]  # fmt: skip


def test_only_the_contractors_supervisor_or_manager_signs(scene):
    test = tested(scene, until="handed_in")
    values = {"key": test.key, "at": test.handed_in_at, "name": "N", "qualification": "Q"}
    member = actor_of(scene.contractor.organisation, role="member")
    for actor, error in (
        (member, Forbidden),
        (scene.owner, Forbidden),
        (scene.authority, NotFound),  # the authority sees sealed records only
        (actor_of(actor_of(scene.owner.organisation).organisation, "member"), Forbidden),
    ):
        with pytest.raises(error):
            sign(actor=actor, **values)
    supervisor = actor_of(scene.contractor.organisation, role="supervisor")
    with pytest.raises(Refused, match="qualification"):
        sign(actor=supervisor, **{**values, "qualification": ""})
    assert sign(actor=supervisor, **values).state == "sealed"
    assert sign(actor=supervisor, **values).state == "sealed"  # may run twice
    assert Seal.objects.count() == 1


def test_an_amendment_is_a_new_record_that_names_the_old_one(scene):
    test = tested(scene, {"minimum": 3.2, "design": 3.4})
    at = test.sealed_at + timedelta(days=1)
    draft = amend(actor=scene.contractor, key=test.key, reason="reading of S2 mistyped", at=at)
    assert (draft.state, draft.amends_id) == ("draft", test.pk)
    with pytest.raises(Conflict):
        amend(actor=scene.contractor, key=test.key, reason="again", at=at)
    assert draft.bench_id != test.bench_id
    copied = Bottle.objects.filter(bench=draft.bench)
    assert copied.count() == Bottle.objects.filter(bench=test.bench).count()
    bottle = copied.get(label="S2")
    benches.set_aside(
        actor=scene.contractor, reading=bottle.readings.get(), reason="mistyped", at=at
    )
    benches.add_reading(
        actor=scene.contractor, bottle=bottle, value_typed="1.33361", temperature_typed="20.0",
        at=at,
    )  # fmt: skip
    hand_in(actor=scene.contractor, key=draft.key, at=at)
    sign(actor=scene.contractor, key=draft.key, at=at, name="N", qualification="Q")
    draft.refresh_from_db()
    form = chain.parsed(draft.seal)
    assert LatestRecord.objects.get().test_id == draft.pk
    assert form["amends"]["digest"] == test.seal.digest
    assert form["amends"]["reason"] == "reading of S2 mistyped"
    test.refresh_from_db()
    assert test.state == "sealed"
    assert list(chain.verify()) == []


def test_a_draft_is_abandoned_with_a_reason_and_keeps_its_readings(scene):
    test = tested(scene, until="draft")
    with pytest.raises(Refused):
        abandon(actor=scene.contractor, key=test.key, reason="", at=test.visit.started_at)
    gone = abandon(actor=scene.contractor, key=test.key, reason="storm", at=test.visit.started_at)
    assert gone.state == "abandoned"
    assert Bottle.objects.filter(bench=test.bench, readings__isnull=False).exists()


def test_drafts_show_to_their_author_alone(scene):
    test = tested(scene, until="draft")

    def seen(actor):
        return ProportioningTest.objects.visible_to(actor).filter(pk=test.pk).exists()

    assert [seen(a) for a in (scene.contractor, scene.owner, scene.authority)] == [
        True, False, False,
    ]  # fmt: skip
    hand_in(actor=scene.contractor, key=test.key, at=test.visit.started_at)
    assert [seen(a) for a in (scene.contractor, scene.owner, scene.authority)] == [
        True, True, False,
    ]  # fmt: skip


def test_a_draft_is_not_signed(scene):
    day = read(restored(discharged(prepared(scene))), {"minimum": 3.2, "design": 3.4})
    with pytest.raises(Refused, match="draft cannot be signed"):
        signed(day)
