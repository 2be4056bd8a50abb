"""Inspections from a device without signal: task by task, one round, judged as on the page.

What a row wants and what makes a fault is held against the page itself: the same texts by page and
interface give the same line. The row is of the programme that its file names as its source.
"""

from dataclasses import replace
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from itm.accounts import tokens
from itm.actions.adopt import end
from itm.doors.day import day_of
from itm.findings.models import Deficiency
from itm.records.duties import derive_site
from itm.records.models import DeviceClock, Inspection, InspectionLine
from itm.schedule.adopting import Agreed
from itm.schedule.models import Adoption, Duty
from tests.deeds import look_duty
from tests.doors.looking import FOUND, LOOK, looked, photo_of
from tests.doors.phone import Phone, started
from tests.factories import OrganisationFactory, actor_of

TODAY = date(2026, 6, 15)


def test_what_was_inspected_without_signal_completes_its_duty(phone, visit, duty):
    raw = looked(phone, visit, duty, note="seen from the walkway")
    [answer] = phone.send()
    assert (answer.state, answer.now["outcome"]) == ("taken", "in_order")
    line = InspectionLine.objects.get()
    assert (str(line.key), line.note, line.answers[3]["typed"]) == (
        raw["key"], "seen from the walkway", "7,5 bar",
    )  # fmt: skip
    assert line.inspection.visit == visit
    duty.refresh_from_db()
    assert (duty.done_on, duty.done_by_record) == (TODAY, line.inspection.key)
    assert phone.send([raw])[0].state == "taken_before"
    assert InspectionLine.objects.count() == 1


# By each door on the same day ---------------------------------------------------------------------
WRONG = ["level: 95", "valves: no", "gauges: yes", "gauge_readings: 7,5 bar"]


def by_page(scene, client, sign_in, visit, duty):
    page = sign_in(client, scene.contractor)
    texts = {f"{duty.pk}-{name}": text for name, text in (one.split(": ") for one in WRONG)}
    form = {"done_on": TODAY.isoformat(), "once": str(uuid4()), "note": "", **texts}
    there = f"{reverse('inspect', args=[scene.site.key])}?visit={visit.key}"
    assert page.post(there, form).status_code == 302


def by_interface(scene, client, sign_in, visit, duty):
    _, token = tokens.make(
        actor=scene.contractor, name="a program", scopes=("hand_in",),
        expires_on=timezone.now().date(), at=timezone.now(),
    )  # fmt: skip
    line = {"duty": str(duty.key), "answers": dict(one.split(": ") for one in WRONG)}
    round_ = {
        "site": str(scene.site.key), "visit": str(visit.key), "done_on": TODAY.isoformat(),
        "lines": [line],
    }  # fmt: skip
    answer = client.post(
        "/api/v1/inspections/", round_, content_type="application/json",
        headers={"Authorization": f"Bearer {token}", "Idempotency-Key": str(uuid4())},
    )  # fmt: skip
    assert answer.status_code == 201, answer.content


def by_entry(scene, client, sign_in, visit, duty):
    phone = Phone(scene.contractor)
    looked(phone, visit, duty, WRONG)
    assert phone.send()[0].taken


@pytest.mark.parametrize("door", [by_page, by_interface, by_entry])
def test_by_each_door_it_is_the_same_line_and_opens_the_same_deficiency(
    scene, client, sign_in, visit, duty, door
):
    door(scene, client, sign_in, visit, duty)
    line = InspectionLine.objects.get()
    found = [(one["key"], one["typed"], one.get("value"), one["in_order"]) for one in line.answers]
    assert found == [
        ("level", "95", "95", True), ("valves", "no", None, False), ("gauges", "yes", None, True),
        ("gauge_readings", "7,5 bar", None, True),
    ]  # fmt: skip
    assert (line.outcome, line.words, line.acceptance) == (
        "fault", duty.requirement.words, duty.requirement.acceptance,
    )  # fmt: skip
    assert (line.inspection.visit, line.inspection.done_on) == (visit, TODAY)
    assert line.inspection.person == scene.contractor.person
    wrong = Deficiency.objects.get(cause=Deficiency.Cause.INSPECTION)
    assert (wrong.inspection_line, wrong.found_on) == (line, TODAY)
    duty.refresh_from_db()
    assert duty.done_by_record == line.inspection.key


# One round ----------------------------------------------------------------------------------------
def test_tasks_of_one_person_and_day_are_one_round_and_open_each_deficiency_once(
    scene, phone, other_phone, visit, duty
):
    tank = look_duty(scene)
    looked(phone, visit, duty, WRONG)
    looked(phone, visit, tank, ["places: top", "paper: R-2", "fit: no"])
    assert all(answer.taken for answer in phone.send())
    made = Inspection.objects.get()
    assert [line.outcome for line in made.lines.order_by("pk")] == ["fault", "fault"]
    wrong = Deficiency.objects.filter(cause=Deficiency.Cause.INSPECTION)
    assert [one.steps.filter(verb="found_again").count() for one in wrong] == [0, 0]
    put = {"reason": "scaffold in the way", "done_on": "2026-06-14"}
    looked(other_phone, visit, tank, answers=[], **put)
    assert other_phone.send()[0].now["outcome"] == "not_possible"
    assert Inspection.objects.count() == 2  # of another person


def test_what_was_not_possible_stays_due_and_stands_in_the_day(phone, visit, duty):
    looked(phone, visit, duty, answers=[], reason="plant is shut")
    assert phone.send()[0].taken
    duty.refresh_from_db()
    assert duty.done_on is None
    told = day_of(phone.actor, visit.key)["inspection"]
    [task] = [one for one in told["tasks"] if one["key"] == str(duty.key)]
    assert task["not_possible"] == {"on": "2026-06-15", "reason": "plant is shut"}
    assert told["noted"][0]["outcome"] == "not_possible"
    looked(phone, visit, duty)
    assert phone.send([phone.queue[-1]])[0].taken


def test_the_day_brings_what_each_task_wants(phone, visit, duty):
    told = day_of(phone.actor, visit.key)
    [task] = [one for one in told["inspection"]["tasks"] if one["key"] == str(duty.key)]
    assert task["words"] == duty.requirement.words
    assert task["source"].startswith(duty.requirement.source)
    assert [(want["key"], want["kind"]) for want in task["wants"]] == [
        (want["key"], want["kind"]) for want in duty.requirement.evidence
    ]
    assert task["opens_on"] <= TODAY.isoformat() <= task["latest_on"]
    assert told["inspection"]["may"]
    assert "under pressure" in told["cautions"]["inspect"]
    assert [one["name"] for one in told["inspection"]["closing"]] == ["broken", "note", "reason"]
    looked(phone, visit, duty, note="dry")
    phone.send()
    told = day_of(phone.actor, visit.key)["inspection"]
    [now] = [one for one in told["tasks"] if one["words"] == duty.requirement.words]
    assert now["opens_on"] == "2026-07-01"  # the next month, ahead of its window
    [noted] = told["noted"]
    assert (noted["outcome"], noted["note"], noted["by"]) == (
        "in_order", "dry", phone.actor.person,
    )  # fmt: skip
    assert any(answer.endswith(": 95 %") for answer in noted["answers"])


# Refused in words ---------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("answers", "texts", "code", "place"),
    [
        (FOUND[1:], {}, "missing", "answers"),
        (["level: ninety", *FOUND[1:]], {}, "not_a_number", "answers"),
        (["level: 95", "valves: perhaps", *FOUND[2:]], {}, "not_a_choice", "answers"),
        ([*FOUND, "colour: red"], {}, "unknown_key", "answers"),
        (["95"], {}, "unknown_key", "answers"),
        (FOUND, {"reason": "shut"}, "both", "reason"),
        ([], {}, "nothing_entered", "answers"),
        (FOUND, {"done_on": "15/6"}, "invalid", "done_on"),
        (FOUND, {"done_on": "2026-06-16"}, "day_ahead", "done_on"),
        (FOUND, {"done_on": "2018-02-28"}, "before_service", "done_on"),
        (FOUND, {"colour": "red"}, "unknown_field", "colour"),
        (FOUND, {"duty": "17"}, "not_asked", "duty"),
    ],
)
def test_what_is_missing_or_wrong_is_told_at_its_place(
    phone, visit, duty, answers, texts, code, place
):
    looked(phone, visit, duty, answers, **texts)
    [answer] = phone.send()
    assert (answer.state, answer.code, answer.place) == ("refused", code, place)
    assert answer.sentence.endswith(".")
    assert not Inspection.objects.exists()


def test_a_test_is_completed_by_its_own_record_and_not_here(scene, phone, visit):
    derive_site(actor=scene.owner, site=scene.site)
    test = Duty.objects.filter(requirement__task="proportioning_test").latest("pk")
    looked(phone, visit, test)
    assert phone.send()[0].code == "other_record"


def test_what_is_asked_no_more_says_so_and_keeps_what_was_typed(scene, phone, visit, duty):
    adoption = Adoption.objects.get(programme__code="us-nfpa25-foam-water")
    paper = Agreed(scene.authority.organisation, "it may end", "the inspector", TODAY, "L-1")
    end(actor=scene.owner, adoption=adoption, ends_on=date(2026, 6, 1), agreed=paper)
    looked(phone, visit, duty)
    assert phone.send()[0].code == "not_asked"


def test_another_crew_and_another_site_inspect_nothing_here(scene, phone, visit, duty):
    stranger = Phone(actor_of(OrganisationFactory(kind="contractor")))
    looked(stranger, visit, duty)
    assert stranger.send()[0].state == "not_found"
    elsewhere = Duty(key=uuid4())
    looked(phone, visit, elsewhere)
    assert phone.send()[0].state == "not_found"


def test_the_owners_own_people_inspect_as_on_the_page(scene, phone, draft, duty):
    started(phone, draft)  # a visit is theirs to see from then on
    owner = Phone(scene.owner)
    looked(owner, draft.visit, duty)
    assert owner.send()[0].taken


# Two phones ---------------------------------------------------------------------------------------
def test_the_same_said_by_two_is_one_line(phone, other_phone, visit, duty):
    looked(other_phone, visit, duty)
    looked(phone, visit, duty)
    assert other_phone.send()[0].taken
    [answer] = phone.send()
    assert (answer.state, answer.code) == ("taken", "stood_already")
    assert InspectionLine.objects.count() == 1


def test_something_else_said_by_two_is_asked_and_put_right_with_both_kept(
    phone, other_phone, visit, duty
):
    looked(other_phone, visit, duty, note="all dry")
    assert other_phone.send()[0].taken
    looked(phone, visit, duty, WRONG)
    [answer] = phone.send()
    assert (answer.state, answer.place) == ("crossed", "answers")
    assert other_phone.actor.person in answer.sentence
    assert answer.now == {"answers": FOUND, "broken": "", "note": "all dry", "reason": ""}
    assert not Deficiency.objects.filter(cause=Deficiency.Cause.INSPECTION).exists()
    seen = {**answer.now, "answers": "\n".join(answer.now["answers"])}
    mine = looked(phone, visit, duty, WRONG, seen)
    assert phone.send([mine])[0].taken
    old, new = InspectionLine.objects.order_by("pk")
    assert (new.corrects, new.outcome, str(new.key)) == (old, "fault", mine["key"])
    assert phone.actor.person in new.reason
    wrong = Deficiency.objects.get(cause=Deficiency.Cause.INSPECTION)
    assert wrong.inspection_line == new
    assert len(day_of(phone.actor, visit.key)["inspection"]["noted"]) == 1


def test_what_the_owner_noted_meanwhile_stays_beside_what_the_crew_saw(scene, phone, draft, duty):
    started(phone, draft)
    visit, owner = draft.visit, Phone(scene.owner)
    looked(owner, visit, duty)
    assert owner.send()[0].taken
    looked(phone, visit, duty, answers=[], reason="locked out")
    [answer] = phone.send()
    assert answer.state == "crossed"
    seen = {**answer.now, "answers": "\n".join(answer.now["answers"])}
    wrong = looked(phone, visit, duty, WRONG, seen)
    assert phone.send([wrong])[0].taken
    theirs, mine = InspectionLine.objects.order_by("pk")
    assert (theirs.outcome, mine.outcome, mine.corrects) == ("in_order", "fault", None)
    assert Deficiency.objects.filter(inspection_line=mine).exists()


# Days, clocks and engagements ---------------------------------------------------------------------
def test_a_tick_that_says_what_an_answer_says_already_is_nothing_else(
    phone, other_phone, visit, duty
):
    looked(other_phone, visit, duty, WRONG, broken="True")
    assert other_phone.send()[0].taken
    looked(phone, visit, duty, WRONG, broken="True")
    [answer] = phone.send()
    assert (answer.state, answer.code) == ("taken", "stood_already")
    assert InspectionLine.objects.count() == 1


@pytest.mark.parametrize("said", ["", "2026-06-16"])
def test_a_clock_that_is_ahead_makes_no_inspection_of_tomorrow(phone, visit, duty, said):
    """Also where the page says the day, which it reads off the same clock."""
    phone.now += timedelta(hours=20)
    looked(phone, visit, duty, done_on=said)
    [answer] = phone.send(ahead=timedelta(hours=20))
    assert answer.taken
    assert Inspection.objects.get().done_on == TODAY
    assert DeviceClock.objects.get().visit == visit


def test_a_day_far_before_its_stamp_is_of_a_clock_that_was_wrong(phone, visit, duty):
    """The stamp was put right afterwards, and the day that the device wrote beside it was not."""
    looked(phone, visit, duty, done_on="2024-07-15")
    [answer] = phone.send()
    assert (answer.state, answer.code, answer.place) == ("refused", "far_from_stamp", "done_on")
    assert "15 Jul 2024" in answer.sentence
    assert "15 Jun 2026" in answer.sentence
    assert not Inspection.objects.exists()
    phone.queue.clear()
    looked(phone, visit, duty, done_on="2026-05-15")  # a month: a person said so
    assert phone.send()[0].taken
    assert Inspection.objects.get().done_on == date(2026, 5, 15)


def test_what_was_seen_on_the_last_day_comes_in_late_and_later_no_more(scene, phone, visit, duty):
    """As the start of a day that a device stamped: up to three days."""
    grant = scene.site.grants.get()
    grant.ends_on = TODAY
    grant.save(by=scene.owner)
    tank = look_duty(scene)
    key, now = uuid4(), phone.now
    [one, other] = [looked(phone, visit, duty), looked(phone, visit, tank, LOOK)]
    after = {}
    for days in (2, 4):
        day = now + timedelta(days=days)
        phone.actor = replace(scene.contractor, today=day.date(), at=day)
        phone.now = day
        after[days] = photo_of(phone, visit, duty, key if days == 2 else uuid4()).state
        [answer] = phone.send([one if days == 2 else other])
        assert answer.state == ("taken" if days == 2 else "forbidden"), answer
    assert Inspection.objects.get().done_on == TODAY
    assert after == {2: "forbidden", 4: "forbidden"}  # taken then, and not on the last day
