"""When values of a table were noted, and which of them do not count."""

from datetime import UTC, datetime

import pytest

from itm.records.models import SampleValue
from tests.checks import ON
from tests.itm.actions.values import TOP, bring, in_force, look, two_bottles
from tests.itm.intake.imports import told

HEAD = "bottle;property;value;noted at;set aside because;set aside at"


def table(*lines: str) -> str:
    return "\n".join([HEAD, *(f"{TOP};ph;{line}" for line in lines)]) + "\n"


@pytest.fixture
def check(scene):
    return two_bottles(scene)


def test_a_value_that_was_set_aside_stands_beside_the_one_in_its_place(scene, check):
    bring(scene, table(f"6.7;{ON} 10:08;probe not rinsed;10:09", f"7.6;{ON} 10:10;;"))
    aside, counts = SampleValue.objects.order_by("pk")
    assert in_force() == {"ph": counts}
    assert (aside.set_aside_reason, aside.set_aside_by) == (
        "probe not rinsed", scene.contractor.person,
    )  # fmt: skip
    # The clock of the site is that of Lisbon, an hour before UTC in summer (tz database).
    assert aside.entered_at == datetime(2026, 6, 15, 9, 8, tzinfo=UTC)
    assert aside.set_aside_at == datetime(2026, 6, 15, 9, 9, tzinfo=UTC)
    assert counts.entered_at == datetime(2026, 6, 15, 9, 10, tzinfo=UTC)


def test_without_times_both_have_the_moment_at_which_the_table_is_taken_in(scene, check):
    bring(scene, table("6.7;;probe not rinsed;", "7.6;;;"))
    aside, counts = SampleValue.objects.order_by("pk")
    assert aside.entered_at == aside.set_aside_at == counts.entered_at


def test_two_that_count_are_told_and_two_set_aside_are_not(scene, check):
    row = look(scene, table("6.7;;;", "7.6;;;"))
    assert ("C3", "twice") in told(row)
    bring(scene, table("6.7;;probe not rinsed;", "6.8;;probe not rinsed;", "7.6;;;"))
    assert SampleValue.objects.count() == 3


@pytest.mark.parametrize(
    ("line", "place", "code"),
    [
        ("7.6;;;10:09", "F2", "reason_missing"),
        (f"7.6;{ON} 10:09;probe not rinsed;{ON} 10:08", "F2", "aside_early"),
        ("7.6;2036-06-15 10:00;;", "D2", "not_yet"),
        ("7.6;noon;;", "D2", "not_a_time"),
    ],
)
def test_what_cannot_be_is_told_at_its_cell(scene, check, line, place, code):
    row = look(scene, table(line))
    assert row.state == "open"
    assert (place, code) in told(row)
    assert not SampleValue.objects.exists()


def test_a_value_is_not_measured_after_it_was_noted(scene, check):
    head = "bottle;property;value;noted at;measured on"
    line = f"{TOP};ph;7.6;{ON} 10:00;2026-06-16"
    assert ("E2", "day_ahead") in told(look(scene, f"{head}\n{line}\n"))
