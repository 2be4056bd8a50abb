"""A reason alone ends only what shows no longer, and what ended because a thing was retired is open
again once it is back. Rules of our own: no published source."""

from datetime import UTC, date, datetime, timedelta

import pytest

from itm.actions.abandon import abandon
from itm.actions.hand_in import hand_in
from itm.actions.retire import retire, take_back
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core.errors import Refused
from itm.findings import deciding
from itm.findings.models import Deficiency
from itm.registry.models import Proportioner
from tests.deeds import inspection_of, tested
from tests.itm.findings.test_catching_up import AT, amended_to

LEAN = {"minimum": 2.0, "design": 3.4}
FINE = {"minimum": 3.4, "design": 3.4}
MAY, JUNE = date(2026, 5, 4), date(2026, 6, 15)


def open_ones() -> list[Deficiency]:
    return list(Deficiency.objects.filter(closed_at=None).order_by("pk"))


def ended(scene, row: Deficiency, at: datetime = AT) -> Deficiency:
    return deciding.end(actor=scene.owner, deficiency=row, reason="it is gone", at=at)


def test_what_went_back_and_came_in_unchanged_is_ended_by_no_reason(scene):
    test = tested(scene, LEAN, on=MAY, until="handed_in")
    [row] = open_ones()
    send_back(actor=scene.owner, key=test.key, reason="look again", at=AT)
    assert deciding.may_end(row)  # nothing in force shows it now
    hand_in(actor=scene.contractor, key=test.key, at=AT + timedelta(hours=1))
    assert not deciding.may_end(row)
    sign(
        actor=scene.contractor, key=test.key, at=AT + timedelta(hours=2), name="Somebody",
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip
    with pytest.raises(Refused, match="still stands"):
        ended(scene, row, AT + timedelta(hours=3))
    assert open_ones() == [row]


def test_a_correction_that_nobody_has_signed_ends_nothing(scene):
    test = tested(scene, LEAN, on=MAY)
    draft = amended_to(scene, test, 3.4, seal=False)
    [row] = open_ones()
    assert row.steps.filter(verb="unsettled").exists()
    with pytest.raises(Refused, match="still stands"):
        ended(scene, row)
    send_back(actor=scene.owner, key=draft.key, reason="which bottle?", at=AT + timedelta(hours=3))
    abandon(actor=scene.contractor, key=draft.key, reason="it was right", at=AT + timedelta(days=1))
    assert open_ones() == [row]


def test_a_correction_that_is_signed_lets_a_reason_end_it(scene):
    amended_to(scene, tested(scene, LEAN, on=MAY), 3.4)
    [row] = open_ones()
    assert ended(scene, row, AT + timedelta(days=1)).outcome == "ended"


def out_and_back(scene, *rows) -> None:
    """In the order in which they can leave; what is open at each ends meanwhile."""
    for row in rows:
        retire(actor=scene.owner, row=row, on=JUNE, today=JUNE)
    for one in open_ones():
        ended(scene, one)
    assert open_ones() == []
    for row in reversed(rows):
        fresh = type(row).objects.get(pk=row.pk)
        take_back(actor=scene.owner, row=fresh, at=AT + timedelta(days=1))


def test_a_device_that_comes_back_lean_has_its_deficiency_again(scene):
    test = tested(scene, LEAN, on=MAY)
    out_and_back(scene, scene.proportioner)
    [row] = open_ones()
    assert (row.cause, row.spot, row.test, row.found_on) == ("lean", "minimum", test, MAY)
    assert row.steps.order_by("pk").last().words == (
        "Opened again on 2 Jul 2026: the record of 4 May 2026 still shows it."
    )
    take_back(
        actor=scene.owner, row=Proportioner.objects.get(pk=scene.proportioner.pk), at=AT
    )  # a second time changes nothing
    assert open_ones() == [row]


def test_a_device_that_a_later_test_finds_right_comes_back_without_it(scene):
    tested(scene, LEAN, on=MAY)
    tested(scene, FINE, on=JUNE)
    out_and_back(scene, scene.proportioner)
    assert open_ones() == []


def test_what_was_seen_and_noted_at_a_tank_is_open_again_with_the_tank(scene):
    inspection_of(scene, MAY, fit="no")
    deciding.note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.tank, severity=3, found_on=MAY,
        words="The label is gone", at=datetime(2026, 5, 4, 20, tzinfo=UTC),
    )  # fmt: skip
    out_and_back(scene, scene.proportioner, scene.tank)
    assert {row.cause for row in open_ones()} == {"inspection", "by_hand"}
    [noted] = [row for row in open_ones() if row.cause == "by_hand"]
    assert (noted.words, noted.found_on, noted.tank) == ("The label is gone", MAY, scene.tank)
    assert "while this was out of use" in noted.steps.order_by("pk").last().words


def test_a_slip_that_ended_while_the_thing_was_in_use_stays_ended(scene):
    row = deciding.note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.tank, severity=3, found_on=MAY,
        words="The label is gone", at=datetime(2026, 5, 4, 20, tzinfo=UTC),
    )  # fmt: skip
    ended(scene, row, datetime(2026, 5, 5, 9, tzinfo=UTC))
    out_and_back(scene, scene.proportioner, scene.tank)
    assert open_ones() == []
