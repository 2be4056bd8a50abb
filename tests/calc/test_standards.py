"""Recipes and as-made percents. Expected values are plain arithmetic."""

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.criteria import common_band
from calc.errors import CalcError
from calc.glassware import own_tolerance, tolerance, u_volume, u_weighed
from calc.standards import (
    as_made,
    as_made_by_mass,
    as_made_percent,
    made_up,
    recipe,
    recipe_by_mass,
    suggested_percents,
    weighed_solution,
)
from tests.calc.test_laws import FIXED


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
    allowed = common_band(nominal)
    low, _middle, high = suggested_percents(Decimal(nominal))
    assert 0 < low < allowed.lower
    assert allowed.upper <= Decimal(str(high))


# By mass, and what the tools leave open

volumes, strengths = st.floats(1e-3, 1e3), st.floats(0, 100)


@FIXED
@given(volumes, strengths)
def test_recipe_made_is_the_percent_asked_for(volume, percent):
    mixed = recipe(volume, percent)
    assert as_made_percent(mixed.concentrate, mixed.water) == pytest.approx(percent, abs=1e-12)
    assert as_made(mixed.concentrate, mixed.water, 0, 0).percent == pytest.approx(
        percent, abs=1e-12
    )


@FIXED
@given(volumes, strengths, st.floats(0.9, 1.3), st.floats(0.99, 1.03))
def test_recipe_by_mass_made_is_the_percent_asked_for(volume, percent, heavy, light):
    mixed = recipe_by_mass(volume, percent, heavy, light)
    made = as_made_by_mass(mixed.concentrate, mixed.water, heavy, light, 0)
    assert made.percent == pytest.approx(percent, abs=1e-11)
    assert made.u_percent == 0


def test_mass_without_density_is_refused():
    with pytest.raises(CalcError) as refused:
        as_made_by_mass(3, 97, None, 0.998, 0.01)
    assert refused.value.code == "density_missing"
    assert "certificate" in str(refused.value)


def test_larger_batch_is_more_exact():
    # 0.05 mL are 0.05 points in 100 mL and 0.01 in 500 mL.
    small = made_up(3.0, 100.0, 0.05, 0.0)
    large = made_up(15.0, 500.0, 0.05, 0.0)
    assert (small.u_percent, large.u_percent) == (pytest.approx(0.05), pytest.approx(0.01))


def test_two_cylinders_leave_more_open_than_pipette_and_flask():
    cylinder = u_volume(tolerance("graduated cylinder, class B", 10e-6))
    large = u_volume(tolerance("graduated cylinder, class B", 100e-6))
    rough = as_made(3e-6, 97e-6, cylinder, large)
    pipette = u_volume(own_tolerance(0.012 * 3e-6, 0.004 * 3e-6))
    flask = u_volume(tolerance("one-mark flask, class A", 100e-6))
    fine = made_up(3e-6, 100e-6, pipette, flask)
    assert rough.percent == pytest.approx(3) == fine.percent
    # By hand: 0.2/√3 mL of 100 mL is 0.115 points, the concentrate's share of it 97 %.
    assert rough.u_percent == pytest.approx(0.113, abs=0.002)
    assert fine.u_percent == pytest.approx(0.024, abs=0.002)


def test_balance_beats_the_cylinder_for_thick_liquids():
    made = as_made_by_mass(3.15, 96.8, 1.05, 0.9982, u_weighed(0.01), 0.002)
    assert made.percent == pytest.approx(3.0, abs=0.01)
    assert made.u_percent < 0.01


def test_uncertainty_of_a_standard_is_what_simulation_scatters():
    rng = np.random.default_rng(3)
    concentrate = 3 + rng.normal(0, 0.03, 50_000)
    water = 97 + rng.normal(0, 0.5, 50_000)
    scattered = as_made(concentrate, water, 0, 0).percent
    assert np.std(scattered) == pytest.approx(as_made(3, 97, 0.03, 0.5).u_percent, rel=0.02)
    filled = made_up(concentrate, 100 + (water - 97), 0, 0).percent
    assert np.std(filled) == pytest.approx(made_up(3, 100, 0.03, 0.5).u_percent, rel=0.02)


def test_pure_liquids_have_no_finite_slip():
    assert as_made(0, 5, 0, 0.1).u_percent == 0
    assert as_made(5, 0, 0.1, 0).u_percent == 0


def test_reference_solution_adds_its_relative_parts():
    value, u = weighed_solution(1.0, 1.0, 1.0, 0.03, 0.04, 0.0)
    assert (value, u) == (1.0, pytest.approx(math.hypot(0.03, 0.04)))


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: as_made(0, 0, 0, 0), "nothing_mixed", "concentrate"),
        (lambda: as_made([1, 2], [1, 2, 3], 0, 0), "shapes_differ", "water"),
        (lambda: as_made(1, -1, 0, 0), "out_of_range", "water"),
        (lambda: as_made(1, 1, -1, 0), "out_of_range", "u_concentrate"),
        (lambda: made_up(101, 100, 0, 0), "out_of_range", "concentrate"),
        (lambda: made_up(1, 0, 0, 0), "out_of_range", "total"),
        (lambda: recipe_by_mass(100, 3, 0, 1), "out_of_range", "density_concentrate"),
        (lambda: as_made_by_mass(3, 97, 1.05, "x", 0), "not_a_number", "density_water"),
        (lambda: weighed_solution(1, 1, 0, 0, 0, 0), "out_of_range", "volume"),
    ],
)
def test_impossible_amounts_are_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
