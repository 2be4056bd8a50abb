"""Means among readings, found by what they say and by what they are.

The arithmetic is that of the tables here; which words name a mean is from memory.
"""

from decimal import Decimal

import pytest

from itm.intake.tables.sums import is_worked_out
from itm.intake.worked_out import Held, mean_readings, mean_rows


@pytest.mark.parametrize(
    "text",
    ["Mean", "Mittelwert", "MITTELWERT:", "Ø", "Ø 3", "x\u0304", "x\u0304 (1-3)", "Moyenne",
     "média", "Promedio de 3", "średnia", "Среднее значение", "平均", "Σ", "mean=", "Avg. of 3"],
)  # fmt: skip
def test_words_and_signs_of_what_was_worked_out(text):
    assert is_worked_out(text)


@pytest.mark.parametrize("text", ["", "1", "Reading 1", "x", "S1", "minimum-1", "Meanwhile Quay"])
def test_other_words_name_readings(text):
    assert not is_worked_out(text)


def rows(*lines: tuple[str, ...], bottles="AB"):
    return [
        Held(row, bottle, Decimal(value))
        for row, line in enumerate(lines, start=2)
        for bottle, value in zip(bottles, line, strict=False)
        if value
    ]


ABOVE = (("1.3340", "1.3401"), ("1.3342", "1.3402"), ("1.3343", "1.3402"))


@pytest.mark.parametrize("mean", [("1.3342", "1.3402"), ("1.33417", "1.34017")])
def test_a_row_that_is_the_mean_of_those_above_is_found(mean):
    assert mean_rows(rows(*ABOVE, mean)) == [5]


def test_each_block_is_counted_by_itself():
    below = ("1.3350", "1.3411"), ("1.3352", "1.3413"), ("1.3351", "1.3412")
    assert mean_rows(rows(*ABOVE, ("1.3342", "1.3402"), *below)) == [5, 8]


@pytest.mark.parametrize(
    "lines",
    [
        (*ABOVE, ("1.3342", "1.3401")),  # the mean in one bottle, another figure in the other
        (*ABOVE, ("1.3342", "")),  # one bottle alone may be so by chance
        (("1.3340", "1.3401"),) * 4,  # all alike, as a steady display gives them
        (("1.3340", "1.3401"), ("1.3340", "1.3401")),
    ],
)
def test_readings_that_may_well_be_such_are_left_alone(lines):
    assert mean_rows(rows(*lines)) == []


def long(*columns: tuple[str, ...]):
    values = [(name, value) for name, held in zip("ABC", columns, strict=False) for value in held]
    return [Held(row, name, Decimal(value)) for row, (name, value) in enumerate(values, start=2)]


FIRST = ("1.3340", "1.3342", "1.3341")
OTHERS = (("1.3350", "1.3352", "1.3351"), ("1.3360", "1.3364", "1.3362"))


def test_a_row_for_each_reading_shows_it_in_all_bottles_or_not_at_all():
    assert mean_readings(long(FIRST, *OTHERS)) == [4, 7, 10]
    assert mean_readings(long(FIRST, OTHERS[0])) == []
    assert mean_readings(long(FIRST, OTHERS[0], ("1.3360", "1.3364", "1.3363"))) == []
