"""Recipes and as-made percents. Expected values are plain arithmetic."""

from decimal import Decimal

import pytest

from calc.acceptance import band
from calc.errors import CalcError
from calc.standards import as_made_percent, recipe, suggested_percents


@pytest.mark.parametrize(
    ("percent", "concentrate", "water"), [(2, 4, 196), (3, 6, 194), (4, 8, 192)]
)
def test_recipe_for_200_ml_is_plain_arithmetic(percent, concentrate, water):
    mixed = recipe(200, percent)
    assert (mixed.concentrate, mixed.water) == (concentrate, water)


def test_recipe_and_as_made_percent_undo_each_other():
    mixed = recipe(250, 2.75)
    assert as_made_percent(mixed.concentrate, mixed.water) == pytest.approx(2.75, rel=1e-15)


def test_adding_to_100_ml_is_not_making_up_to_100_ml():
    assert as_made_percent(3, 100) == pytest.approx(300 / 103, rel=1e-15)
    assert as_made_percent(3, 97) == 3.0


def test_pure_liquids_are_0_and_100_percent():
    assert as_made_percent(0, 5) == 0
    assert all(as_made_percent(volume / 7, 0) == 100 for volume in range(1, 200))


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: recipe(0, 3), "out_of_range", "batch_volume"),
        (lambda: recipe(float("nan"), 3), "out_of_range", "batch_volume"),
        (lambda: recipe(100, 101), "out_of_range", "percent"),
        (lambda: recipe(100, -1), "out_of_range", "percent"),
        (lambda: as_made_percent(-1, 100), "out_of_range", "concentrate"),
        (lambda: as_made_percent(1, float("inf")), "out_of_range", "water"),
        (lambda: as_made_percent(0, 0), "nothing_mixed", "concentrate"),
        (lambda: suggested_percents(0), "out_of_range", "nominal"),
        (lambda: suggested_percents(100), "out_of_range", "nominal"),
    ],
)
def test_impossible_mixture_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; give " in str(refused.value)


@pytest.mark.parametrize(
    ("nominal", "expected"),
    [(3, (2, 3, 4)), (6, (5, 6, 7)), (1, (0.5, 1, 1.5)), (0.5, (0.25, 0.5, 0.75)), (2, (1, 2, 3))],
)
def test_suggested_standards_are_nominal_and_one_to_each_side(nominal, expected):
    assert suggested_percents(nominal) == expected


@pytest.mark.parametrize("nominal", ["0.1", "0.3", "0.5", "1", "1.5", "2", "2.75", "3", "6", "20"])
def test_suggested_standards_bracket_the_acceptance_band(nominal):
    allowed = band(nominal)
    low, _middle, high = suggested_percents(Decimal(nominal))
    assert 0 < low < allowed.lower
    assert allowed.upper <= Decimal(str(high))
