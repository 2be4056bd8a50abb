"""A filled sheet typed in: the names and remarks that it prints have a place, and nobody is said to
have done what another did."""

from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from itm.records.models import Notice
from tests.doors.test_filled_sheet import NOON, Page


@pytest.fixture
def page(scene, draft, sign_in, time_machine):
    time_machine.move_to(NOON, tick=False)
    return Page(sign_in(Client(), scene.contractor), draft)


def test_who_did_it_stands_beside_who_typed_it_in(page, scene):
    """The sheet prints a column for the name; the record has both, in what every report prints."""
    typist = scene.contractor.person
    [told, *_] = page.names("add_notice.")
    page.put(told, told="Fire service", by="Rui Alves", at="8:00")
    page.put(
        f"start_test_day.{page.test.visit.key}", reason="annual test", coordinator="the owner",
        at="8:05",
    )  # fmt: skip
    first, second = page.test.flush_steps.all()[:2]
    page.put(f"flush_done.{first.key}", by=" Rui  Alves ", at="11:00")
    page.put(f"flush_done.{second.key}", by=typist.upper(), at="11:01")
    out, back = page.test.visit.restoration_lines.all()[:2]
    page.put(
        f"end_line.{out.key}", outcome="left_out", reason="seat leaks", handed_to="Shift lead",
        handed_at="12:30", by="Ana Reis", at="12:00",
    )  # fmt: skip
    page.put(f"end_line.{back.key}", outcome="restored", at="12:01")
    page.send()
    for row in (first, second, out, back):
        row.refresh_from_db()
    assert Notice.objects.get(visit=page.test.visit, told="Fire service").told_by == (
        f"Rui Alves, typed in by {typist}"
    )
    assert (first.done_by, second.done_by) == (f"Rui Alves, typed in by {typist}", typist)
    assert (out.ended_by, back.ended_by) == (f"Ana Reis, typed in by {typist}", typist)
    zone = ZoneInfo(page.test.visit.site.time_zone)
    assert f"{out.handed_at.astimezone(zone):%H:%M}" == "12:30"
    long = page.test.flush_steps.all()[2]
    page.put(f"flush_done.{long.key}", by="x" * 51, at="11:02")
    assert "A name of at most 50 characters" in page.send().text
    assert page.boxes[f"flush_done.{long.key}.by"] == "x" * 51


def test_all_that_the_sheet_prints_has_a_place(page):
    assert len(page.names("add_notice.")) == 8
    page.put(f"note_visit.{page.test.visit.key}", effluent_plan="bund of the rack, hauled by road")
    page.put(f"note_test.{page.test.key}", notes="Wind from the west")
    page.send()
    page.test.refresh_from_db()
    page.test.visit.refresh_from_db()
    assert page.test.notes == "Wind from the west"
    assert page.test.visit.effluent_plan == "bund of the rack, hauled by road"
