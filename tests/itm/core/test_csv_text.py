"""A table for a spreadsheet is data and never a formula. Read back by Python's own csv module."""

import csv
import io

import pytest

from itm.core.csv_text import csv_text


def back(text: str) -> list[list[str]]:
    assert text.startswith("\ufeff")
    return list(csv.reader(io.StringIO(text[1:], newline="")))


@pytest.mark.parametrize(
    "hostile",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1+1", "＝1", '=HYPERLINK("x")', "\n=1"],
)
def test_text_that_a_spreadsheet_would_run_is_text(hostile: str) -> None:
    [[_], [cell]] = back(csv_text(["Head"], [[hostile]]))
    assert cell == f"'{hostile}"


def test_everything_else_comes_back_as_it_went_in() -> None:
    rows = [["Tank; A, “B”", "two\nlines", 'a "quoted" word', 2790.5, 3, None, "3 %", "a-b"]]
    [_, row] = back(csv_text(["x"] * 8, rows))
    assert row == ["Tank; A, “B”", "two\nlines", 'a "quoted" word', "2790.5", "3", "", "3 %", "a-b"]


def test_negative_number_stays_a_number() -> None:
    assert back(csv_text(["x"], [[-1.5]]))[1] == ["-1.5"]
