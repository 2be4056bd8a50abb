"""A fix is what was done after the fault, by the days of the work and not by those of arrival."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest

from itm.actions.record_inspection import correct_inspection
from itm.actions.retire import retire
from itm.core.errors import Refused
from itm.findings import deciding, queries
from itm.findings.lives import say
from itm.findings.models import Deficiency
from tests.deeds import inspection_of, tested

LEAN = {"minimum": 2.0, "design": 3.4}
FINE = {"minimum": 3.4, "design": 3.4}
MAY, JUNE, JULY = date(2026, 5, 4), date(2026, 6, 15), date(2026, 7, 6)
AT = datetime(2026, 8, 1, 9, tzinfo=UTC)


def lean() -> Deficiency:
    return Deficiency.objects.get(cause="lean", closed_at=None)


def repaired(scene, row: Deficiency, on: date):
    at = datetime.combine(on, datetime.min.time(), UTC) + timedelta(hours=15)
    return deciding.note_repair(
        actor=scene.owner, deficiency=row, part="gland packed", who="The porter", repaired_at=at,
        at=AT,
    )  # fmt: skip


def by_hand(scene, on: date) -> Deficiency:
    return deciding.note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=3, words="a sign is gone",
        found_on=on, at=AT,
    )  # fmt: skip


def test_a_test_that_comes_late_closes_nothing_that_showed_after_it(scene):
    tested(scene, LEAN, on=MAY)
    tested(scene, LEAN, on=JULY)
    tested(scene, FINE, on=JUNE)
    [june] = deciding.against(lean())
    assert june.why_not == "It was found again since."
    with pytest.raises(Refused, match="found again"):
        deciding.close(actor=scene.owner, deficiency=lean(), step=june.step, at=AT)


def test_a_fault_that_comes_late_does_not_stand_in_the_way_of_its_fix(scene):
    tested(scene, LEAN, on=MAY)
    fix = tested(scene, FINE, on=JULY)
    tested(scene, LEAN, on=JUNE)
    [july] = deciding.against(lean())
    closed = deciding.close(actor=scene.owner, deficiency=lean(), step=july.step, at=AT)
    assert closed.fixed_by_test == fix


def test_what_is_opened_late_names_the_later_test_that_shows_the_fix(scene):
    fix = tested(scene, FINE, on=JUNE)
    tested(scene, LEAN, on=MAY)
    [june] = deciding.against(lean())
    assert (june.step.record, june.ready) == (fix, True)


def test_a_round_that_comes_late_names_the_later_one_that_found_it_in_order(scene):
    inspection_of(scene, JUNE)
    inspection_of(scene, MAY, fit="no")
    [june] = deciding.against(Deficiency.objects.get())
    assert (june.step.words, june.ready) == ("Found in order on 15 Jun 2026.", True)


def test_what_was_found_at_a_thing_that_is_retired_is_ended_with_a_reason(scene):
    tested(scene, LEAN, on=MAY)
    with pytest.raises(Refused, match="still stands"):
        deciding.end(actor=scene.owner, deficiency=lean(), reason="it is gone", at=AT)
    retire(actor=scene.owner, row=scene.proportioner, on=JUNE, today=JUNE)
    assert lean().is_open  # nothing closes by itself
    ended = deciding.end(actor=scene.owner, deficiency=lean(), reason="it is gone", at=AT)
    assert (ended.outcome, ended.closed_reason) == ("ended", "it is gone")


def test_a_repair_before_the_same_fault_closes_nothing(scene):
    inspection_of(scene, MAY, fit="no")
    row = Deficiency.objects.get()
    repaired(scene, row, JUNE)
    [first] = deciding.against(row)
    assert first.ready
    inspection_of(scene, JULY, fit="no")
    [first] = deciding.against(row)
    assert first.why_not == "It was found again since."
    repaired(scene, row, JULY)
    again, first = deciding.against(row)
    assert (again.ready, first.ready) == (True, False)


def test_a_repair_before_it_was_found_is_refused_by_the_day_of_the_site(scene):
    """At 22:00 UTC of 3 May it is 4 May in Auckland, the day on which it was found there."""
    scene.site.time_zone = "Pacific/Auckland"
    scene.site.save(by=scene.owner)
    row = by_hand(scene, MAY)
    noted = {"part": "gland packed", "who": "The porter", "deficiency": row, "at": AT}
    with pytest.raises(Refused, match="found on 4 May 2026, after that") as refused:
        deciding.note_repair(
            actor=scene.owner, repaired_at=datetime(2026, 5, 3, 11, tzinfo=UTC), **noted
        )
    assert (refused.value.code, refused.value.place) == ("before_it", "repaired_at")
    step = deciding.note_repair(
        actor=scene.owner, repaired_at=datetime(2026, 5, 3, 22, tzinfo=UTC), **noted
    )
    assert deciding.close(actor=scene.owner, deficiency=row, step=step, at=AT).outcome == "repaired"


def test_a_repair_that_stands_before_the_finding_already_closes_nothing(scene):
    """As it could be noted before it was refused, or may come in with an archive."""
    inspection_of(scene, JUNE, fit="no")
    for row in (Deficiency.objects.get(), by_hand(scene, JUNE)):
        before = datetime(2022, 10, 22, tzinfo=UTC)
        say(scene.owner, row, "repaired", AT, "gland packed", who="x", happened_at=before)
        [old] = deciding.against(row)
        assert (old.ready, old.why_not) == (False, "It was found after it.")
        with pytest.raises(Refused, match="found after it"):
            deciding.close(actor=scene.owner, deficiency=row, step=old.step, at=AT)


def test_a_round_in_order_that_was_corrected_closes_nothing(scene):
    inspection_of(scene, MAY, fit="no")
    second = inspection_of(scene, JUNE)
    correct_inspection(
        actor=scene.contractor, line=second.lines.get(), at=AT, once=uuid4(),
        why="nobody went there", entered={}, possible=False,
    )  # fmt: skip
    [june] = deciding.against(Deficiency.objects.get())
    assert june.why_not == "The inspection was corrected since."


def test_it_was_closed_on_the_day_that_the_site_had(scene):
    """At 22:00 UTC it is the next morning in Auckland: found and closed there on one calendar."""
    scene.site.time_zone = "Pacific/Auckland"
    scene.site.save(by=scene.owner)
    row = by_hand(scene, MAY)
    late = datetime(2026, 8, 1, 22, tzinfo=UTC)
    deciding.end(actor=scene.owner, deficiency=row, reason="it is there", at=late)
    shown = queries.all_deficiencies(scene.owner)
    [told] = queries.table(shown, date(2026, 8, 9))
    assert "2026-08-02" in told
    assert queries.days_open(shown.get(), date(2026, 8, 9)) == (date(2026, 8, 2) - MAY).days
