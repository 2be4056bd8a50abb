"""Impairments: of a test day, or by hand with rounds; never ended while a line is out."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from itm.actions import restore
from itm.actions.start_test_day import start_test_day
from itm.actions.take_back_start import may_take_back, take_back_start
from itm.core.errors import Conflict, Forbidden, Refused
from itm.findings import alarms, clocks, impairing, queries
from itm.findings.models import Impairment, NoticeClock
from itm.records import services
from itm.registry.finding import Wanted
from itm.trends.impairments import systems_out
from tests.deeds import discharged, prepared, restored

AT = datetime(2026, 6, 15, 8, tzinfo=UTC)


def by_hand(scene, actor=None, **more) -> Impairment:
    given = {"reason": "a leak", "coordinator": "Duty engineer", "systems": [scene.system]}
    return impairing.open_by_hand(
        actor=actor or scene.owner, site=scene.site, started_at=AT, at=AT, **(given | more)
    )


def test_starting_a_test_day_opens_it_and_the_last_line_ends_it(scene):
    day = discharged(prepared(scene))
    row = Impairment.objects.get()
    assert (row.visit, row.is_open) == (day.test.visit, True)
    assert row.why == "annual proportioning test"
    assert systems_out(scene.authority) == {scene.system.pk}
    restored(day)
    row.refresh_from_db()
    day.test.visit.refresh_from_db()
    assert row.ended_at == day.test.visit.restored_at
    assert row.systems.get().back_at == row.ended_at
    assert systems_out(scene.authority) == set()


def test_a_line_left_out_keeps_it_open_until_it_is_put_back(scene):
    day = discharged(prepared(scene))
    line = day.test.visit.restoration_lines.order_by("position").first()
    left = restore.end_line(
        actor=day.actor, line=line, outcome="left_out", at=day.tick(), reason="worn seat",
        handed_to="Duty engineer", handed_at=day.now,
    )  # fmt: skip
    restored(day)
    assert Impairment.objects.get().is_open
    restore.put_back(actor=day.actor, line=left, at=day.tick())
    assert not Impairment.objects.get().is_open


def test_a_line_opened_again_opens_the_impairment_again(scene):
    day = restored(discharged(prepared(scene)))
    line = day.test.visit.restoration_lines.first()
    restore.reopen_line(actor=day.actor, line=line, at=day.tick())
    assert Impairment.objects.get().is_open
    assert systems_out(scene.owner) == {scene.system.pk}


def test_a_start_taken_back_was_no_impairment(scene):
    day = prepared(scene)
    take_back_start(actor=day.actor, visit=day.test.visit, at=day.tick())
    assert Impairment.objects.get().taken_back_at == day.now
    assert systems_out(scene.owner) == set()


def walks(scene, row, at):
    impairing.walk_round(
        actor=scene.owner, impairment=row, who="The porter", walked_at=at, at=at
    )  # fmt: skip


def tells(scene, row, at):
    impairing.tell(actor=scene.owner, impairment=row, who="Fire service", told_at=at, at=at)


def changes(scene, row, at):
    impairing.change(
        actor=scene.owner, impairment=row, water="", stands_in="two people", words="a fire watch",
        expected_end_at=None, at=at,
    )  # fmt: skip


def runs_out(scene, row, at):
    clock = NoticeClock.objects.get(code="employees-at-once")
    clocks.adopt_clock(
        actor=scene.owner, clock=clock, sites=[scene.site], checked_against="", at=at
    )
    alarms.sound(at)


def crew_tells(scene, row, at):
    services.add_notice(
        actor=scene.contractor, visit=row.visit, told="Monitoring company", told_at=at
    )


@pytest.mark.parametrize("act", [walks, tells, changes, runs_out, crew_tells])
def test_a_start_on_whose_impairment_somebody_acted_is_not_taken_back(scene, act):
    day = prepared(scene)
    row = Impairment.objects.get()
    act(scene, row, day.tick())
    with pytest.raises(Refused, match="End each line of the restoration list") as refused:
        take_back_start(actor=day.actor, visit=day.test.visit, at=day.tick())
    assert refused.value.code == "noted"
    assert not may_take_back(day.test.visit)
    row.refresh_from_db()
    day.test.visit.refresh_from_db()
    assert (row.is_open, day.test.visit.started_at) == (True, row.started_at)


def test_a_start_that_was_taken_back_is_read_by_all_three_and_counts_nowhere(scene):
    day = prepared(scene)
    for _ in range(2):
        assert may_take_back(day.test.visit)
        take_back_start(actor=day.actor, visit=day.test.visit, at=day.tick())
        row = Impairment.objects.get()
        for actor in (scene.owner, scene.authority, scene.contractor):
            assert list(queries.impairments(actor, Wanted(narrow={"stands": "taken_back"}))) == [
                row
            ]
            assert queries.impairment(actor, row.key) == row
            for stands in ("open", "closed"):
                assert not queries.impairments(actor, Wanted(narrow={"stands": stands}))
        start_test_day(
            actor=day.actor, key=day.test.visit.key, reason="the same again", coordinator="X",
            at=day.tick(),
        )  # fmt: skip
        day.test.visit.refresh_from_db()
    said = [step.words for step in Impairment.objects.get().steps.order_by("pk")]
    assert [words.split("“")[1].split("”")[0] for words in said] == [
        "annual proportioning test", "the same again",
    ]  # fmt: skip
    assert all("started by mistake on 15 Jun 2026" in words for words in said)


def test_who_was_told_long_before_it_began_was_told_of_something_else(scene):
    row = by_hand(scene)
    told = {"actor": scene.owner, "impairment": row, "who": "Fire service", "at": AT}
    with pytest.raises(Refused, match="more than 30 days before") as refused:
        impairing.tell(told_at=AT - timedelta(days=31), **told)
    assert (refused.value.code, refused.value.place) == ("before_it", "told_at")
    assert not row.steps.exists()
    impairing.tell(told_at=AT - timedelta(days=29), **told)  # of planned work


def test_that_of_a_test_day_is_not_ended_by_hand(scene):
    prepared(scene)
    with pytest.raises(Refused, match="restoration list"):
        impairing.end_by_hand(
            actor=scene.owner, impairment=Impairment.objects.get(), words="it runs", ended_at=AT,
            at=AT + timedelta(days=1),
        )  # fmt: skip


def test_one_by_hand_has_rounds_and_ends_with_words(scene):
    row = by_hand(scene)
    later = AT + timedelta(hours=2)
    impairing.walk_round(
        actor=scene.contractor, impairment=row, who="A watchman", walked_at=later, at=later
    )
    with pytest.raises(Refused, match="had not begun"):
        impairing.walk_round(
            actor=scene.owner, impairment=row, who="x", walked_at=AT - timedelta(hours=1), at=later
        )
    with pytest.raises(Refused, match="brought back"):
        impairing.end_by_hand(
            actor=scene.owner, impairment=row, words=" ", ended_at=later, at=later
        )
    done = impairing.end_by_hand(
        actor=scene.owner, impairment=row, words="new gasket", ended_at=later, at=later
    )
    assert not done.is_open
    assert done.systems.get().back_at == later
    with pytest.raises(Conflict):
        impairing.walk_round(actor=scene.owner, impairment=row, who="x", walked_at=later, at=later)


def test_it_is_not_ended_while_a_restoration_line_of_its_systems_is_out(scene):
    row = by_hand(scene)
    day = discharged(prepared(scene))
    later = day.now + timedelta(hours=1)
    ask = {"impairment": row, "words": "new gasket", "ended_at": later, "at": later}
    with pytest.raises(Refused, match="put them back first"):
        impairing.end_by_hand(actor=scene.owner, **ask)
    restored(day)
    assert not impairing.end_by_hand(actor=scene.owner, **ask).is_open


def test_only_who_works_there_opens_one(scene):
    with pytest.raises(Forbidden):
        by_hand(scene, actor=scene.authority)
    with pytest.raises(Refused, match="at least one system"):
        by_hand(scene, systems=[])
    with pytest.raises(Refused, match="coordinator"):
        by_hand(scene, coordinator=" ")
    with pytest.raises(Refused, match="expected back before"):
        by_hand(scene, expected_end_at=AT - timedelta(hours=1))


def test_the_database_keeps_every_impairment(scene):
    by_hand(scene)
    for statement in (
        "DELETE FROM findings_impairedsystem",
        "DELETE FROM findings_impairment",
    ):
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            connection.cursor().execute(statement)
    row = Impairment.objects.get()
    row.ended_at, row.ended_by, row.ended_words = AT - timedelta(hours=1), "x", "put back"
    with pytest.raises(DatabaseError, match="impairment_ends_after"), transaction.atomic():
        row.save(by=scene.owner)
