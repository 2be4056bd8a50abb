"""A row of means under readings is no row of readings, in whatever words, or in none."""

import pytest

from itm.records.bench import set_out
from tests.deeds import discharged, prepared
from tests.itm.intake.imports import handed_in, told

WIDE = "No.;water;S1\n1;1,33300;1,33390\n2;1,33301;1,33392\n3;1,33305;1,33391\n"


@pytest.fixture
def day(scene):
    made = discharged(prepared(scene))
    set_out(actor=made.actor, test=made.test)
    return made


@pytest.mark.parametrize("name", ["Mittelwert", "Ø", "x\u0304", "Moyenne de 3"])
def test_a_mean_in_other_words_is_no_reading(day, name):
    row = handed_in(day.actor, "readings", f"{WIDE}{name};1,33302;1,33391\n", test=day.test)
    assert (row.state, told(row)) == ("open", [("A5", "worked_out")])


def test_a_mean_without_a_word_is_asked_about(day):
    row = handed_in(day.actor, "readings", f"{WIDE}4;1,33302;1,33391\n", test=day.test)
    assert row.state == "ready"
    [asked] = [one for one in row.findings["asked"] if one["place"] == "row 5"]
    assert "is the mean of the readings above it" in asked["sentence"]


def test_readings_that_are_no_mean_are_not(day):
    row = handed_in(day.actor, "readings", f"{WIDE}4;1,33304;1,33391\n", test=day.test)
    assert row.state == "ready"
    assert not [one for one in row.findings["asked"] if one["place"].startswith("row")]
