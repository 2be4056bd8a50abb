"""An overdue duty is a deficiency where somebody said so: opened by the clock, once a cycle."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from itm.accounts.actor import system
from itm.actions.adopt import adopt
from itm.actions.record_inspection import correct_inspection, record_inspection
from itm.actions.retire import retire, take_back
from itm.core.errors import Conflict, Forbidden, Refused
from itm.findings import deciding, overdue
from itm.findings.lives import say
from itm.findings.models import Deficiency, OverdueRule, Step
from itm.records.inspecting import Entry
from itm.schedule import sweep as standings
from itm.schedule.models import Duty, Programme, Requirement
from tests.deeds import LOOKED, look_duty, tested

# The scene is commissioned on 1 March 2018; its first year and its window end on 1 June 2019.
LATE = date(2019, 6, 2)
DAY = date(2026, 6, 15)
AT = datetime(2026, 6, 15, 18, tzinfo=UTC)


@pytest.fixture
def look(scene) -> Duty:
    return look_duty(scene)


def said(scene, row: Requirement, severity: int = 2, **more) -> OverdueRule:
    by = {"actor": scene.owner, "because": "our fire plan, chapter 3", "at": AT, **more}
    return overdue.say_overdue(site=scene.site, requirement=row, severity=severity, **by)


def rows() -> list[Deficiency]:
    return list(Deficiency.objects.filter(cause="overdue").order_by("pk"))


def verbs(row: Deficiency) -> list[str]:
    return list(row.steps.order_by("pk").values_list("verb", flat=True))


def last_words(row: Deficiency) -> str:
    return row.steps.latest("pk").words


def a_day_passes(on: date) -> None:
    now = datetime.combine(on, datetime.min.time(), UTC) + timedelta(hours=12)
    standings.sweep(now)
    overdue.sweep(now)
    overdue.sweep(now)


def looked(scene, on: date, entered: date | None = None):
    at = datetime.combine(entered or on, datetime.min.time(), UTC) + timedelta(hours=12)
    return record_inspection(
        actor=scene.contractor, site=scene.site, done_on=on, once=uuid4(), at=at,
        entries=[Entry(Duty.objects.get(done_on=None, requirement__code="yearly-look"), LOOKED)],
    )  # fmt: skip


def closed(scene, row: Deficiency, on: date) -> Deficiency:
    at = datetime.combine(on, datetime.min.time(), UTC) + timedelta(hours=20)
    ready = [one for one in deciding.against(row) if one.ready]
    return deciding.close(actor=scene.owner, deficiency=row, step=ready[0].step, at=at)


def test_no_overdue_duty_is_a_deficiency_where_nobody_said_so(scene, look):
    assert look.stands == "overdue"
    overdue.sweep(AT)
    assert rows() == []


def test_where_nobody_said_so_the_sweep_looks_at_no_duty(look, django_assert_num_queries):
    with django_assert_num_queries(3) as seen:  # the rules, the rows, what is open
        overdue.sweep(AT)
    assert not any('FROM "schedule_duty"' in one["sql"] for one in seen.captured_queries[:2])


def test_said_by_the_owner_it_opens_at_once_and_the_clock_alone_found_it(scene, look):
    said(scene, look.requirement)
    [row] = rows()
    assert (row.duty, row.thing, row.severity) == (look, scene.tank, 2)
    assert (row.opened_by, row.organisation) == ("the system", None)
    assert row.found_on == DAY  # from when it was said, and not from before
    assert "Overdue since 2 Jun 2019" in row.words
    assert row.ground.endswith("our fire plan, chapter 3")
    step = row.steps.get()
    assert (step.verb, step.duty, step.since_on, step.person) == (
        "opened", look, LATE, "the system",
    )  # fmt: skip
    for actor in (scene.owner, scene.authority, scene.contractor):
        assert row in Deficiency.objects.visible_to(actor)


def test_the_sweep_runs_as_often_as_it_likes(scene, look):
    said(scene, look.requirement)
    before = Step.objects.count()
    for hour in range(3):
        overdue.sweep(AT + timedelta(hours=hour))
    assert (len(rows()), Step.objects.count()) == (1, before)


def test_the_database_holds_that_a_cycle_is_named_once(scene, look):
    said(scene, look.requirement)
    [row] = rows()
    with pytest.raises(IntegrityError), transaction.atomic():
        say(system(DAY), row, Step.Verb.FOUND_AGAIN, AT, "x", duty=look, since_on=LATE)
    with pytest.raises(DatabaseError), transaction.atomic():
        say(system(DAY), row, Step.Verb.NOTED, AT, "x", duty=look)


@pytest.mark.parametrize(("sure", "opens"), [("looked up", True), ("from memory, low", False)])
def test_a_row_that_says_so_opens_it_where_that_was_looked_up(scene, look, sure, opens):
    row = look.requirement
    row.overdue_class, row.overdue_source, row.overdue_confidence = 1, "an invented code, 4.2", sure
    row.save()
    overdue.sweep(AT)
    assert [(one.severity, one.found_on) for one in rows()] == ([(1, LATE)] if opens else [])


def test_what_a_row_says_has_its_source(look):
    look.requirement.overdue_class = 1
    with pytest.raises(DatabaseError, match="requirement_overdue_has_its_source"):
        look.requirement.save()


def test_a_test_that_is_done_late_proposes_and_a_person_closes(scene):
    look_duty(scene)
    duty = Duty.objects.get(proportioner=scene.proportioner)
    said(scene, duty.requirement, 3)
    test = tested(scene)
    [row] = rows()
    assert verbs(row) == ["opened", "proposed"]
    assert (
        row.steps.order_by("pk").last().words == "Done on 15 Jun 2026, 2571 days after its latest."
    )
    assert closed(scene, row, DAY).fixed_by_test == test
    a_day_passes(DAY + timedelta(days=1))
    assert len(rows()) == 1


def test_a_round_that_is_done_late_proposes_by_its_line(scene, look):
    said(scene, look.requirement)
    made = looked(scene, DAY)
    [row] = rows()
    assert closed(scene, row, DAY).fixed_by_inspection_line == made.lines.get()


def test_a_cycle_is_seen_even_where_the_sweep_was_down(scene, look):
    said(scene, look.requirement)
    looked(scene, DAY)
    closed(scene, rows()[0], DAY)
    # The next is due by 15 September 2027, is done in October, and no sweep has run since.
    looked(scene, date(2027, 10, 4))
    first, second = rows()
    assert (second.found_on, verbs(second)) == (date(2027, 9, 16), ["opened", "proposed"])
    assert first.outcome == "fixed"


def test_a_cycle_that_is_missed_while_it_is_open_is_named_in_it_once(scene, look):
    said(scene, look.requirement)
    looked(scene, DAY)
    a_day_passes(date(2027, 9, 15))
    assert verbs(rows()[0]) == ["opened", "proposed"]
    a_day_passes(date(2027, 9, 16))
    a_day_passes(date(2027, 9, 20))
    [row] = rows()
    assert verbs(row) == ["opened", "proposed", "found_again"]
    [first] = deciding.against(row)
    assert first.why_not == "It was found again since."
    looked(scene, date(2027, 10, 4))
    second, first = deciding.against(row)
    assert (second.ready, first.ready) == (True, False)


def test_a_round_that_came_in_late_and_was_done_in_time_unsettles_it(scene, look):
    said(scene, look.requirement)
    looked(scene, DAY)
    closed(scene, rows()[0], DAY)
    a_day_passes(date(2027, 9, 16))
    looked(scene, date(2027, 9, 1), entered=date(2027, 9, 20))
    row = rows()[1]
    assert verbs(row) == ["opened", "unsettled"]
    assert (
        row.steps.order_by("pk").last().words
        == "It was done in time, on 1 Sep 2027, as was noted since."
    )
    deciding.end(actor=scene.owner, deficiency=row, reason="done in time", at=AT)
    a_day_passes(date(2027, 9, 21))
    assert len(rows()) == 2


def test_what_is_out_of_use_is_overdue_no_longer_and_again_once_it_is_back(scene):
    said(scene, look_duty(scene).requirement.programme.requirements.get(task="proportioning_test"))
    retire(actor=scene.owner, row=scene.proportioner, on=DAY, today=DAY)
    a_day_passes(DAY)
    [row] = rows()
    assert verbs(row) == ["opened", "unsettled"]
    deciding.end(actor=scene.owner, deficiency=row, reason="it is gone", at=AT)
    scene.proportioner.refresh_from_db()
    take_back(actor=scene.owner, row=scene.proportioner, at=AT)
    assert [one.outcome for one in rows()] == ["ended", ""]
    a_day_passes(DAY + timedelta(days=1))
    assert [one.outcome for one in rows()] == ["ended", ""]


def test_a_rule_that_ends_leaves_what_it_opened_for_a_person(scene, look):
    rule = said(scene, look.requirement)
    with pytest.raises(Forbidden, match="who said so"):
        overdue.end_overdue(actor=scene.authority, rule=rule, at=AT)
    overdue.end_overdue(actor=scene.owner, rule=rule, at=AT)
    a_day_passes(DAY)
    [row] = rows()
    assert verbs(row) == ["opened", "unsettled"]
    deciding.end(actor=scene.owner, deficiency=row, reason="not asked any more", at=AT)
    a_day_passes(DAY + timedelta(days=1))
    assert len(rows()) == 1


def test_while_it_stands_no_reason_ends_it_and_no_repair_closes_it(scene, look):
    said(scene, look.requirement)
    [row] = rows()
    with pytest.raises(Refused, match="still stands"):
        deciding.end(actor=scene.owner, deficiency=row, reason="we know", at=AT)
    step = deciding.note_repair(
        actor=scene.owner, deficiency=row, part="x", who="y", repaired_at=AT, at=AT
    )
    with pytest.raises((Refused, Conflict)):
        deciding.close(actor=scene.owner, deficiency=row, step=step, at=AT)


def test_a_round_that_is_taken_back_opens_the_cycle_anew(scene, look):
    said(scene, look.requirement)
    made = looked(scene, DAY)
    closed(scene, rows()[0], DAY)
    correct_inspection(
        actor=scene.contractor, line=made.lines.get(), at=AT, once=uuid4(),
        why="nobody went there", entered={}, possible=False,
    )  # fmt: skip
    a_day_passes(DAY)
    first, second = rows()
    assert (first.outcome, second.is_open, second.duty) == ("fixed", True, look)


def test_owner_and_authority_say_so_and_the_worst_class_counts(scene, look):
    with pytest.raises(Forbidden, match="owner of the site or its authority"):
        said(scene, look.requirement, actor=scene.contractor)
    with pytest.raises(Refused, match="the paper that says so"):
        said(scene, look.requirement, because=" ")
    with pytest.raises(Refused, match="three classes"):
        said(scene, look.requirement, 4)
    said(scene, look.requirement, 3)
    assert [row.severity for row in rows()] == [3]
    said(scene, look.requirement, 1, actor=scene.authority, because="order 7")
    closed_by = looked(scene, DAY)
    closed(scene, rows()[0], DAY)
    assert closed_by.lines.count() == 1
    a_day_passes(date(2027, 9, 16))
    assert [row.severity for row in rows()] == [3, 1]


def test_what_was_said_of_the_test_that_holds_everywhere_holds_for_the_row_adopted(scene, look):
    everywhere = look.requirement.programme.requirements.get(task="proportioning_test")
    said(scene, everywhere, 1)
    [row] = rows()
    adopted = Programme.objects.get(code="us-nfpa25-foam-water")
    adopt(actor=scene.owner, programme=adopted, starts_on=DAY, site=scene.site)
    tested(scene)
    assert closed(scene, row, DAY).outcome == "fixed"
    a_day_passes(date(2027, 9, 16))
    [second] = rows()[1:]
    row = second.duty.requirement
    assert (row.programme, row.task, second.severity) == (adopted, "proportioning_test", 1)


def test_said_again_it_takes_the_place_of_what_was_said(scene, look):
    first = said(scene, look.requirement, 3)
    second = said(scene, look.requirement, 2)
    first.refresh_from_db()
    assert first.ended_on == DAY
    assert list(overdue.rules_at(scene.site)) == [second]


def test_what_was_said_holds_for_the_next_edition_of_the_row(scene, look):
    row = look.requirement
    said(scene, row)
    old = row.programme
    new = Programme.objects.create(code=old.code, edition="next", name=old.name)
    next_row = Requirement.objects.create(
        programme=new, code=row.code, task="inspection", words="x", interval=12, earliest=9,
        latest=15, source="invented for tests", confidence="looked up", applies_to=["tank:any"],
    )  # fmt: skip
    duty = Duty.objects.create(
        by=scene.owner, site=scene.site, requirement=next_row, tank=scene.tank,
        counts_from=date(2020, 1, 1), window_opens_on=date(2020, 10, 1), due_on=date(2021, 1, 1),
        latest_on=date(2021, 4, 1), stands="overdue",
    )  # fmt: skip
    overdue.sweep(AT)
    assert Step.objects.filter(duty=duty).count() == 1
