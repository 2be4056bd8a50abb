"""A table of values with something wrong in it: each problem at its cell, and nothing taken in."""

import pytest

from itm.actions.amend import amend
from itm.intake.value_layout import VALUES
from itm.records import sampling
from itm.records.models import SampleValue
from tests.checks import ON, at, checked
from tests.itm.actions.values import (
    ANSWER,
    PAPER,
    TOP,
    WIDE,
    answer_of,
    both,
    bring,
    look,
    two_bottles,
)
from tests.itm.intake.imports import told


@pytest.fixture
def check(scene):
    return two_bottles(scene)


@pytest.mark.parametrize(
    ("line", "place", "code"),
    [
        (f"{TOP};4.2;;;20;;;;", "B2", "too_large"),
        (f"{TOP};0.9;;;20;;;;", "B2", "out_of_range"),
        (f"{TOP};;1032 g/mL;;20;;;;", "C2", "other_unit"),
        (f"{TOP};;1.03 kg;;20;;;;", "C2", "not_a_number"),
        (f"{TOP};;1.03 mL;;20;;;;", "C2", "other_unit"),
        (f"{TOP};1.3702;;;120;;;;", "E2", "fahrenheit"),
        (f"{TOP};1.3702;;;;;;;", "B2", "temperature_missing"),
        (f"{TOP};1.3702;1032 kg/m³;;;;;;", "C2", "temperature_missing"),
        (f"{TOP};;;high;20;;;;", "D2", "not_a_number"),
        ("T-9;1.3702;;;20;;;;", "A2", "unknown_name"),
        (f"{TOP};1.3702;;;20;Invented;L-1;2026-06-01;", "H2", "before_samples"),
        (f"{TOP};1.3702;;;20;Invented;L-1;2036-06-01;", "H2", "day_ahead"),
        (f"{TOP};1.3702;;;20;Invented;L-1;;", "H2", "day_missing"),
        (f"{TOP};1.3702;;;20;Invented;;2026-07-06;", "G2", "number_missing"),
        (f"{TOP};1.3702;;;20;;L-1;2026-07-06;", "F2", "laboratory_missing"),
        (f"{TOP};1.3702;;;20;;;;2026-06-18", "I2", "not_sent"),
        (f"{TOP};1.3702;;;20;;;;;2026-06-14", "J2", "measured_before"),
        (f"{TOP};1.3702;;;20;;;;;2036-06-14", "J2", "day_ahead"),
    ],
)
def test_each_problem_stands_at_its_cell(scene, check, line, place, code):
    head = "bottle;index;density;ph;temperature;laboratory;report number;report date;received"
    row = look(scene, f"{head};measured on\n{line}\n")
    assert row.state == "open"
    assert (place, code) in told(row)
    assert not SampleValue.objects.exists()


def test_a_value_without_its_property_or_unit_is_told(scene, check):
    row = look(scene, f"bottle;property;value;unit;temperature\n{TOP};;7.6;;\n"
               f"{TOP};density;1.0320;;20\n{TOP};density;1.0320 g/mL;kg/m3;20\n"
               f"{TOP};weight;7;;\n{TOP};pH;;;\n{TOP};density;1.0320;stone;20\n")  # fmt: skip
    assert sorted(told(row), key=lambda one: one[0][1:]) == [
        ("B2", "no_property"), ("C3", "no_unit"), ("D4", "two_units"), ("B5", "not_a_choice"),
        ("C7", "other_unit"),
    ]  # fmt: skip
    assert [one["place"] for one in row.findings["asked"]] == ["C6"]


def test_a_table_without_any_value_asks_which_columns_hold_them(scene, check):
    row = look(scene, f"bottle;colour\n{TOP};clear\n")
    assert row.findings["missing"] == [VALUES.one_of_words]


def test_twice_in_the_table_and_there_before_are_told(scene, check):
    row = look(scene, f"bottle;ph\n{TOP};7.6\n{TOP};7.7\n")
    assert told(row) == [("B3", "twice")]
    bring(scene)
    row = look(scene, f"bottle;ph\n{TOP};7.7\n")
    assert told(row) == [("B2", "there_already")]
    assert "entered 7.60 here already" in row.findings["problems"][0]["sentence"]


def test_two_reports_for_one_bottle_are_told(scene):
    both(scene)
    head = f"bottle;index;ph;temperature;{PAPER}"
    row = look(scene, f"{head}\n{TOP};1.3702;;20;{ANSWER}\n"
               f"{TOP};;7.6;20;Invented institute;L-119;2026-07-06;2026-06-19\n"
               f"T-2 top;1.3651;;20;{ANSWER}\n"
               "T-2 top;;7.6;20;Invented institute;L-118;2026-07-07;2026-06-18\n")  # fmt: skip
    assert told(row) == [("H3", "other_day"), ("F3", "other_report"), ("G5", "other_day")]
    bring(scene, answer_of(f"{TOP};1.3702;20"))
    row = look(scene, f"bottle;ph;{PAPER}\n{TOP};7.6;Invented institute;L-119;2026-07-06;\n")
    assert told(row) == [("D2", "other_report")]


def test_a_withdrawn_bottle_takes_nothing(scene, check):
    sample = check.samples.get(label=TOP)
    sampling.withdraw_sample(actor=scene.contractor, sample=sample, reason="broken")
    row = look(scene, WIDE)
    assert told(row) == [("A2", "withdrawn")]


def test_a_bottle_of_a_check_that_is_handed_in_or_sealed_is_told_as_such(scene):
    check = checked(scene, until="sealed")
    label = check.samples.first().label
    row = look(scene, f"bottle;ph\n{label};7.6\n")
    assert told(row) == [("A2", "closed")]
    assert "is sealed and takes no more values" in row.findings["problems"][0]["sentence"]


def test_in_an_amendment_the_bottle_stands_once_more_and_is_meant(scene):
    check = checked(scene, until="sealed")
    sample = check.samples.first()
    draft = amend(actor=scene.contractor, key=check.key, reason="sediment left out", at=at(ON, 20))
    bring(scene, f"bottle;sediment\n{sample.label};0.05 %\n")
    assert not sample.values.filter(name="sediment_percent").exists()
    assert draft.samples.get(label=sample.label).values.filter(name="sediment_percent").exists()
