"""Deficiencies open with the deed that shows them, and never go without a trace."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, transaction

from itm.accounts.actor import acting
from itm.actions import restore
from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.record_inspection import correct_inspection
from itm.actions.send_back import send_back
from itm.core.errors import Conflict, Forbidden, Refused
from itm.findings import deciding
from itm.findings.models import Deficiency, Step
from itm.records import bench as benches
from itm.records.models import ProportioningTest
from tests.checks import checked, mixed
from tests.deeds import LOOKED, discharged, display, inspection_of, prepared, tested
from tests.factories import MembershipFactory, UserFactory

LEAN = {"minimum": 2.0, "design": 3.4}
FINE = {"minimum": 3.4, "design": 3.4}
NEXT = date(2026, 6, 20)
AT = datetime(2026, 7, 1, 9, tzinfo=UTC)


def open_now() -> list[tuple[str, str]]:
    rows = Deficiency.objects.filter(closed_at=None).order_by("pk")
    return [(row.cause, row.spot) for row in rows]


def verbs(row: Deficiency) -> list[str]:
    return list(row.steps.order_by("pk").values_list("verb", flat=True))


def lean_at_minimum() -> Deficiency:
    return Deficiency.objects.get(cause="lean", spot="minimum")


def test_a_lean_result_opens_an_impairment_when_it_is_handed_in_and_not_before(scene):
    draft = tested(scene, LEAN, until="draft")
    assert open_now() == []
    hand_in(actor=scene.contractor, key=draft.key, at=AT)
    assert ("lean", "minimum") in open_now()
    row = lean_at_minimum()
    assert row.test == draft
    assert row.severity == row.proposed == Deficiency.Severity.IMPAIRMENT
    assert row.thing == scene.proportioner
    assert verbs(row) == ["opened"]
    for actor in (scene.owner, scene.authority, scene.contractor):
        assert row in Deficiency.objects.visible_to(actor)


def test_a_result_in_band_opens_nothing(scene):
    tested(scene, FINE)
    assert open_now() == []


def test_the_same_fault_found_again_is_the_same_deficiency(scene):
    tested(scene, LEAN)
    tested(scene, LEAN, on=NEXT)
    row = lean_at_minimum()
    assert verbs(row) == ["opened", "found_again"]
    assert row.found_on == date(2026, 6, 15)


def test_a_passing_retest_only_proposes_and_a_person_closes(scene):
    tested(scene, LEAN)
    retest = tested(scene, FINE, on=NEXT, purpose="retest")
    row = lean_at_minimum()
    assert verbs(row) == ["opened", "proposed"]
    assert row.is_open
    [chosen] = deciding.against(row)
    with pytest.raises(Forbidden):
        deciding.close(actor=scene.authority, deficiency=row, step=chosen.step, at=AT)
    closed = deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=AT)
    assert closed.fixed_by_test == retest
    assert closed.outcome == "fixed"
    assert closed.test != retest  # the failed one stays beside it
    with pytest.raises(Conflict):
        deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=AT)


def test_a_retest_closes_nothing_before_it_is_sealed(scene):
    tested(scene, LEAN)
    tested(scene, FINE, on=NEXT, until="handed_in")
    row = lean_at_minimum()
    [chosen] = deciding.against(row)
    with pytest.raises(Refused, match="not sealed"):
        deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=AT)


def test_a_fix_that_was_followed_by_the_same_fault_closes_nothing(scene):
    tested(scene, LEAN)
    tested(scene, FINE, on=NEXT)
    tested(scene, LEAN, on=NEXT + timedelta(days=5))
    row = lean_at_minimum()
    [chosen] = deciding.against(row)
    assert not chosen.ready
    assert "again" in chosen.why_not


def test_an_earlier_record_that_comes_in_late_proposes_nothing(scene):
    tested(scene, LEAN, on=NEXT)
    tested(scene, FINE)
    assert verbs(lean_at_minimum()) == ["opened"]


def test_a_record_sent_back_leaves_its_deficiency_open_with_a_line(scene):
    test = tested(scene, LEAN, until="handed_in")
    send_back(actor=scene.owner, key=test.key, reason="the wrong bottle was read", at=AT)
    row = lean_at_minimum()
    assert row.is_open
    assert verbs(row) == ["opened", "unsettled"]
    ended = deciding.end(actor=scene.owner, deficiency=row, reason="the bottle was S2", at=AT)
    assert (ended.outcome, ended.closed_reason) == ("ended", "the bottle was S2")


def test_handed_in_again_it_is_found_again_and_after_its_end_it_opens_anew(scene):
    test = tested(scene, LEAN, until="handed_in")
    send_back(actor=scene.owner, key=test.key, reason="look again", at=AT)
    hand_in(actor=scene.contractor, key=test.key, at=AT)
    assert verbs(lean_at_minimum()) == ["opened", "unsettled", "found_again"]
    send_back(actor=scene.owner, key=test.key, reason="look again", at=AT)
    deciding.end(actor=scene.owner, deficiency=lean_at_minimum(), reason="a slip", at=AT)
    hand_in(actor=scene.contractor, key=test.key, at=AT)
    rows = Deficiency.objects.filter(cause="lean", spot="minimum").order_by("pk")
    assert [row.is_open for row in rows] == [False, True]


def test_a_hand_in_that_is_repeated_opens_once(scene):
    draft, once = tested(scene, LEAN, until="draft"), uuid4()
    for _ in range(3):
        hand_in(actor=scene.contractor, key=draft.key, at=AT, once=once)
    assert verbs(lean_at_minimum()) == ["opened"]


def test_a_draft_given_up_after_it_was_sent_back_leaves_a_line(scene):
    test = tested(scene, LEAN, until="handed_in")
    send_back(actor=scene.owner, key=test.key, reason="look again", at=AT)
    abandon(actor=scene.contractor, key=test.key, reason="instrument was broken", at=AT)
    row = lean_at_minimum()
    assert row.is_open
    assert verbs(row) == ["opened", "unsettled", "unsettled"]


def test_what_still_stands_is_not_ended_by_a_reason(scene):
    tested(scene, LEAN)
    with pytest.raises(Refused, match="still stands"):
        deciding.end(actor=scene.owner, deficiency=lean_at_minimum(), reason="we know", at=AT)


def test_a_repair_alone_does_not_close_what_a_test_found(scene):
    tested(scene, LEAN)
    row = lean_at_minimum()
    step = deciding.note_repair(
        actor=scene.contractor, deficiency=row, part="orifice plate renewed", who="The crew",
        repaired_at=AT, at=AT,
    )  # fmt: skip
    with pytest.raises(Refused, match="only a later record"):
        deciding.close(actor=scene.owner, deficiency=row, step=step, at=AT)


def test_the_database_itself_refuses_a_close_that_rests_on_nothing(scene):
    tested(scene, LEAN)
    row = lean_at_minimum()
    row.outcome, row.closed_at, row.closed_by = "fixed", AT, "somebody"
    broken = pytest.raises(DatabaseError, match="deficiency_closes_against_something")
    with broken, transaction.atomic():
        row.save(by=scene.owner)


@pytest.mark.parametrize("closed", [False, True])
def test_no_deficiency_is_ever_deleted_and_none_changes_once_closed(scene, closed):
    tested(scene, LEAN)
    row = lean_at_minimum()
    statements = ["DELETE FROM findings_step", "DELETE FROM findings_deficiency"]
    if closed:
        tested(scene, FINE, on=NEXT)
        [chosen] = deciding.against(row)
        deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=AT)
        statements.append("UPDATE findings_deficiency SET words = 'nothing'")
    for statement in statements:
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            connection.cursor().execute(statement)


def test_a_qualified_person_lowers_the_class_with_a_reason_that_stays(scene):
    tested(scene, LEAN)
    row = lean_at_minimum()
    ask = {"deficiency": row, "severity": Deficiency.Severity.CRITICAL, "at": AT}
    member = acting(
        MembershipFactory(user=UserFactory(), organisation=scene.owner.organisation, role="member"),
        scene.owner.today,
    )
    with pytest.raises(Forbidden):
        deciding.classify(actor=member, reason="we think so", **ask)
    with pytest.raises(Refused, match="why"):
        deciding.classify(actor=scene.contractor, reason=" ", **ask)
    row = deciding.classify(actor=scene.contractor, reason="2.96 % is close by", **ask)
    assert (row.proposed, row.severity) == (1, 2)
    assert row.severity_reason == "2.96 % is close by"
    assert verbs(row) == ["opened", "classed"]


def test_nobody_without_a_qualification_on_record_decides(scene):
    tested(scene, LEAN)
    scene.owner.user.qualification = ""
    with pytest.raises(Forbidden, match="qualification"):
        deciding.classify(
            actor=scene.owner, deficiency=lean_at_minimum(), severity=2, reason="r", at=AT
        )


def test_who_was_told_and_when_is_kept(scene):
    tested(scene, LEAN)
    row = lean_at_minimum()
    told = datetime(2026, 6, 15, 12, tzinfo=UTC)
    deciding.tell(actor=scene.contractor, deficiency=row, who="Duty engineer", told_at=told, at=AT)
    step = row.steps.get(verb="told")
    assert (step.who, step.happened_at) == ("Duty engineer", told)
    with pytest.raises(Refused, match="not come yet"):
        deciding.tell(
            actor=scene.contractor, deficiency=row, who="x", told_at=AT + timedelta(hours=1), at=AT
        )
    with pytest.raises(Forbidden):
        deciding.tell(actor=scene.authority, deficiency=row, who="x", told_at=told, at=AT)


def test_the_owner_says_who_sees_to_it_and_by_when(scene):
    tested(scene, LEAN)
    ask = {"responsible": "Shift lead", "target_on": NEXT, "at": AT}
    crew = scene.contractor.organisation
    with pytest.raises(Forbidden):
        deciding.assign(actor=scene.contractor, deficiency=lean_at_minimum(), assigned=crew, **ask)
    row = deciding.assign(actor=scene.owner, deficiency=lean_at_minimum(), assigned=crew, **ask)
    assert (row.responsible, row.target_on, row.assigned) == ("Shift lead", NEXT, crew)


def test_an_amendment_without_the_fault_leaves_it_open_until_a_person_ends_it(scene):
    test = tested(scene, LEAN)
    draft = amend(actor=scene.contractor, key=test.key, reason="bottles swapped", at=AT)
    for bottle in draft.runs.get(flow_point__name="minimum").bottles.all():
        reading = bottle.readings.get(set_aside_at=None)
        reading.set_aside_at, reading.set_aside_by = AT, "x"
        reading.set_aside_reason = "another bottle"
        reading.save(by=scene.contractor)
        benches.add_reading(
            actor=scene.contractor, bottle=bottle, temperature_typed="20.0", at=AT,
            value_typed=display(3.4, draft.bench.instrument.resolution),
        )  # fmt: skip
    hand_in(actor=scene.contractor, key=draft.key, at=AT + timedelta(hours=2))
    row = lean_at_minimum()
    assert row.is_open
    assert verbs(row) == ["opened", "unsettled"]


def test_a_line_left_out_is_an_impairment_until_it_is_put_back(scene):
    day = discharged(prepared(scene))
    line = day.test.visit.restoration_lines.order_by("position").first()
    left = restore.end_line(
        actor=day.actor, line=line, outcome="left_out", at=day.tick(), reason="seat is worn",
        handed_to="Duty engineer", handed_at=day.now,
    )  # fmt: skip
    row = Deficiency.objects.get()
    assert (row.cause, row.severity, row.restoration_line) == ("left_out", 1, left)
    assert verbs(row) == ["opened", "told"]
    later = restore.put_back(actor=day.actor, line=left, at=day.tick())
    [chosen] = deciding.against(row)
    closed = deciding.close(actor=scene.contractor, deficiency=row, step=chosen.step, at=AT)
    assert closed.fixed_by_restoration_line == later


def test_a_line_left_out_by_mistake_stays_to_be_ended_by_a_person(scene):
    day = discharged(prepared(scene))
    line = day.test.visit.restoration_lines.order_by("position").first()
    left = restore.end_line(
        actor=day.actor, line=line, outcome="left_out", at=day.tick(), reason="seat is worn",
        handed_to="Duty engineer", handed_at=day.now,
    )  # fmt: skip
    restore.reopen_line(actor=day.actor, line=left, at=day.tick())
    assert verbs(Deficiency.objects.get()) == ["opened", "told", "unsettled"]


def test_an_inspection_answered_no_opens_and_one_in_order_proposes(scene):
    inspection_of(scene, date(2026, 6, 15), fit="no")
    row = Deficiency.objects.get()
    assert (row.cause, row.tank, row.severity) == ("inspection", scene.tank, 1)
    assert "Free of leaks: no" in row.words
    inspection_of(scene, date(2027, 6, 15))
    [chosen] = deciding.against(row)
    at = datetime(2027, 6, 16, tzinfo=UTC)
    closed = deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=at)
    assert closed.fixed_by_inspection_line.inspection.done_on == date(2027, 6, 15)


def test_an_inspection_that_is_corrected_leaves_its_deficiency_with_a_line(scene):
    made = inspection_of(scene, date(2026, 6, 15), fit="no")
    correct_inspection(
        actor=scene.contractor, line=made.lines.get(), at=AT, once=uuid4(), why="wrong tank",
        entered=LOOKED, possible=True,
    )  # fmt: skip
    row = Deficiency.objects.get()
    assert row.is_open
    assert verbs(row) == ["opened", "unsettled"]


def test_what_a_person_found_is_closed_by_a_repair(scene):
    row = deciding.note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=3,
        words="The sign at the panel is gone", found_on=date(2026, 6, 15), at=AT,
    )  # fmt: skip
    step = deciding.note_repair(
        actor=scene.owner, deficiency=row, part="sign", who="The porter", repaired_at=AT, at=AT
    )
    closed = deciding.close(actor=scene.owner, deficiency=row, step=step, at=AT)
    assert (closed.outcome, closed.repair) == ("repaired", step)


def test_a_check_of_a_thinned_tank_opens_an_impairment_at_the_tank(scene):
    checked(scene, until="handed_in", top=mixed(0.8), bottom=mixed(0.8))
    row = Deficiency.objects.get(spot="strength")
    assert (row.tank, row.severity, row.cause) == (scene.tank, 1, "check")
    later = checked(scene, on=date(2026, 9, 1))
    [chosen] = deciding.against(row)
    at = datetime(2026, 9, 2, tzinfo=UTC)
    closed = deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=at)
    assert closed.fixed_by_concentrate_check == later


def test_every_line_of_a_life_names_who_and_says_why_where_it_must(scene):
    tested(scene, LEAN)
    row = lean_at_minimum()
    bare = {"deficiency": row, "at": AT, "person": "p", "by": scene.owner}
    for verb in ("told", "repaired", "classed", "noted", "proposed", "pictured"):
        with pytest.raises(DatabaseError), transaction.atomic():
            Step.objects.create(verb=verb, **bare)
    assert ProportioningTest.objects.count() == 1
