"""Rows at the end of a table that look like notes: none is left out in silence."""

import pytest

from itm.records.bench import set_out
from itm.records.models import Reading
from itm.registry.models import Site
from tests.deeds import discharged, prepared
from tests.factories import OrganisationFactory, actor_of
from tests.itm.intake.imports import answered, handed_in, taken, told

HEADS = "bottle;value;temperature;read_at\n"
STANDARDS = "".join(f"{name};{value};20.1;\n" for name, value in
                    (("water", "1.33300"), ("S1", "1.33390"), ("S2", "1.33420")))  # fmt: skip
SITES = "site;time zone\nQuay 9;Europe/Lisbon\n"


@pytest.fixture
def day(scene):
    made = discharged(prepared(scene))
    set_out(actor=made.actor, test=made.test)
    return made


def test_bottles_under_their_own_labels_are_rows_without_a_temperature_too(scene, day):
    """“minimum 1” is what the product itself calls a sample at the minimum flow."""
    labels = [label for label in day.test.bench.bottles.values_list("label", flat=True)
              if label.startswith("minimum")]  # fmt: skip
    assert labels == ["minimum 1", "minimum 2", "minimum 3"]
    lines = "".join(f"{label};1.3340{n};;\n" for n, label in enumerate(labels))
    row = taken(day.actor, "readings", HEADS + STANDARDS + lines, test=day.test)
    assert (row.rows, row.findings["notes"]) == (6, [])
    read = Reading.objects.filter(bottle__bench=day.test.bench, bottle__label__in=labels)
    assert sorted(read.values_list("value_typed", flat=True)) == ["1.33400", "1.33401", "1.33402"]


def test_a_bottle_without_its_figure_is_a_row_with_a_hole(scene, day):
    row = handed_in(day.actor, "readings", f"{HEADS}{STANDARDS}minimum 1;;;\n", test=day.test)
    assert told(row) == [("B5", "missing")]


def test_a_site_that_begins_like_a_sum_is_a_site(db):
    owner = actor_of(OrganisationFactory(kind="owner"))
    text = "site;address;country;time zone\nQuay 9;;;Europe/Lisbon\nMax Quay;;;Europe/London\n"
    assert taken(owner, "sites", text).rows == 2
    assert set(Site.objects.values_list("name", flat=True)) == {"Quay 9", "Max Quay"}


@pytest.mark.parametrize(
    ("said", "rows", "state"), [("out", 3, "ready"), ("rows", 4, "open")]
)  # fmt: skip
def test_what_looks_like_a_note_is_asked_about_before_it_is_left_out(day, said, rows, state):
    text = f"{HEADS}{STANDARDS}Mean;;20.1;\n"
    row = handed_in(day.actor, "readings", text, test=day.test)
    assert row.state == "open"
    [question] = [one for one in row.findings["questions"] if one["code"].startswith("notes:")]
    assert "Row 5 “Mean 20.1”" in question["sentence"]
    row = answered(day.actor, row, **{question["code"]: said})
    assert (row.rows, row.state) == (rows, state)
    assert [tuple(one) for one in row.findings["notes"]] == ([(5, "Mean 20.1")] * (said == "out"))
    assert (("A5", "unknown_name") in told(row)) == (said == "rows")


def test_rows_that_a_quoted_note_may_have_swallowed_are_asked_about_first(day):
    """The row below a quotation mark that closes too late would be gone, and nobody would know."""
    lines = 'S1;1.33390;20.1;"see\nS2;1.33420;20.1;as "above"\nS2;1.33421;20.1;\n'
    text = f"bottle;value;temperature;remark\n{lines}"
    row = handed_in(day.actor, "readings", text, test=day.test)
    assert row.state == "open"
    assert [one["code"] for one in row.findings["questions"] if not one["found"]] == [
        "swallowed:D2"
    ]
    assert answered(day.actor, row, **{"swallowed:D2": "one cell"}).state == "ready"
