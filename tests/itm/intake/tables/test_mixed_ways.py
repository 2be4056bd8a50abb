"""Files that write one thing in two ways: what settles it, what is asked, and the way out."""

from datetime import date, datetime
from decimal import Decimal

import pytest

from tests.itm.intake.tables.files import Looked, text_file, workbook

HEAD = ["tag", "date", "percent"]


def days_of(*cells):
    return [HEAD, *(["PR-1", cell, 3.1] for cell in cells)]


# 5 March and 14 March 2026, written day first and opened once under settings with the month first:
# the first became 3 May, the second stayed a text.
TURNED = days_of(datetime(2026, 5, 3), "14/03/2026", datetime(2026, 4, 4))


def test_real_days_beside_texts_that_could_not_be_turned_are_asked_about(tmp_path):
    asked = Looked(workbook(tmp_path, TURNED)).question("swapped:tested_on")
    assert "“3 May 2026” in B2" in asked.sentence
    assert "“14/03/2026” in B3" in asked.sentence
    assert not asked.found
    assert [words for _, words in asked.choices] == [
        "as the workbook shows it: 3 May 2026",
        "with day and month turned: 5 Mar 2026, and so all real days",
    ]


@pytest.mark.parametrize(("said", "day"), [("turned", (3, 5)), ("shown", (5, 3))])
def test_the_answer_holds_for_the_real_days_alone(tmp_path, said, day):
    found = Looked(workbook(tmp_path, TURNED), **{"swapped:tested_on": said})
    assert found.column("tested_on") == [date(2026, *day), date(2026, 3, 14), date(2026, 4, 4)]
    assert found.problems == []


@pytest.mark.parametrize(
    "cells",
    [
        (datetime(2026, 5, 3), datetime(2026, 4, 14), "14/03/2026"),  # a real day above 12
        (datetime(2026, 5, 3), "14/03/2026", "04/03/2026"),  # a text that could have been turned
        (datetime(2026, 4, 4), "14/03/2026"),  # the same day either way
        (datetime(2026, 5, 3), "14 March 2026"),  # a month in words is not turned
        (datetime(2026, 5, 3), "2026-03-14"),
        (datetime(2026, 5, 3), datetime(2026, 4, 3)),
        ("14/03/2026", "15/03/2026"),
    ],
)
def test_days_without_that_sign_are_not_asked_about(tmp_path, cells):
    found = Looked(workbook(tmp_path, days_of(*cells)))
    assert "swapped:tested_on" not in found.questions


def test_months_first_are_turned_likewise(tmp_path):
    rows = days_of(datetime(2026, 3, 5), "03/14/2026")
    found = Looked(workbook(tmp_path, rows), **{"swapped:tested_on": "turned"})
    assert found.column("tested_on") == [date(2026, 5, 3), date(2026, 3, 14)]


@pytest.mark.parametrize("head", ["Percent (%)", "percent %", "percent [%]", "percent, %"])
def test_a_head_that_says_percent_settles_small_ones_beside_others(tmp_path, head):
    text = f"tag;date;{head}\nPR-1;2012-05-14;3.1\nPR-1;2013-05-14;0.15\n"
    found = Looked(text_file(tmp_path, text))
    assert (found.problems, found.settled.open) == ([], [])
    assert found.column("percent") == [Decimal("3.1"), Decimal("0.15")]


def test_small_percents_alone_are_asked_about_under_such_a_head_too(tmp_path):
    text = "tag;date;percent (%)\nPR-1;2012-05-14;0.031\n"
    asked = Looked(text_file(tmp_path, text))
    assert "0.031 is 3.1 %" in dict(asked.question("headed:percent").choices)["fraction"]
    found = Looked(text_file(tmp_path, text), **{"headed:percent": "fraction"})
    assert found.column("percent") == [Decimal("3.1")]


def test_small_numbers_of_a_workbook_are_asked_about_since_it_may_show_them_as_percents(tmp_path):
    rows = [["tag", "date", "percent (%)"], ["PR-1", date(2012, 5, 14), 3.1],
            ["PR-1", date(2013, 5, 14), 0.031]]  # fmt: skip
    path = workbook(tmp_path, rows)
    assert Looked(path).questions["headed:percent"] == ""
    assert Looked(path).settled.problems == ()
    for said, value in (("percent", "0.031"), ("fraction", "3.1")):
        found = Looked(path, **{"headed:percent": said})
        assert found.column("percent") == [Decimal("3.1"), Decimal(value)]


def test_half_of_something_stays_open_beside_shares_under_such_a_head(tmp_path):
    rows = [["tag", "date", "percent (%)"], ["PR-1", date(2012, 5, 14), 0.5],
            ["PR-1", date(2013, 5, 14), 0.031]]  # fmt: skip
    found = Looked(workbook(tmp_path, rows), **{"headed:percent": "fraction"})
    assert found.problems == [("C2", "share_open")]


def test_a_head_settles_its_own_column_and_no_other(tmp_path):
    text = "tag;date;percent (%);lower_limit\nPR-1;2012-05-14;3.1;0.03\n"
    found = Looked(text_file(tmp_path, text), percent="fraction")
    assert found.column("percent") == [Decimal("3.1")]
    assert found.column("lower_limit") == [Decimal(3)]


def test_mixed_percents_without_such_a_head_are_told_the_way_out(tmp_path):
    text = "tag;date;percent\nPR-1;2012-05-14;3.1\nPR-1;2013-05-14;0.15\n"
    [problem] = Looked(text_file(tmp_path, text)).settled.problems
    assert problem.code == "mixed_percent"
    assert "“Result (%)”" in problem.fix


def test_the_unit_that_was_answered_holds_for_bare_figures_alone(tmp_path):
    text = "tag;date;percent;flow\nPR-1;2012-05-14;3;1100\nPR-1;2013-05-14;3;290 US gpm\n"
    path = text_file(tmp_path, text)
    asked = Looked(path).question("unit:flow")
    assert "that say none" in asked.sentence
    found = Looked(path, **{"unit:flow": "L/min"})
    assert found.problems == []
    assert [(one.number, one.unit) for one in found.column("flow")] == [
        (1100, "L/min"), (290, "US gpm"),
    ]  # fmt: skip
