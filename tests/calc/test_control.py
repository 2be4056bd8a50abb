"""An instrument over the years. Published values stand in published/; all readings are invented."""

import math

import numpy as np
import pytest
import statsmodels.api
from scipy import stats

from calc.control import (
    range_factors,
    repeatability_from_ranges,
    repeatability_from_repeats,
    watched,
)
from calc.errors import CalcError
from calc.water import water_index


def test_factors_of_two_and_three_readings_have_closed_forms():
    # Range of two normal numbers: mean 2/√π, variance 2 - 4/π; of three: mean 3/√π.
    two, three = range_factors(2), range_factors(3)
    assert two.d2 == pytest.approx(2 / math.sqrt(math.pi), rel=1e-12)
    assert two.d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-10)
    assert three.d2 == pytest.approx(3 / math.sqrt(math.pi), rel=1e-12)


@pytest.mark.parametrize("count", [2, 5, 12, 25])
def test_mean_range_is_that_of_the_independent_library(count):
    r = np.linspace(0, 12, 4001)
    above = 1 - stats.studentized_range.cdf(r, count, np.inf)
    assert range_factors(count).d2 == pytest.approx(np.trapezoid(above, r), rel=1e-5)


@pytest.mark.parametrize(("count", "bottles"), [(2, 6), (3, 6), (5, 3)])
def test_scatter_from_ranges_is_right_and_worth_what_it_says(count, bottles):
    rng = np.random.default_rng(12)
    true, trials = 2e-5, 4000
    found = [
        repeatability_from_ranges(np.ptp(rng.normal(1.333, true, (bottles, count)), axis=1), count)
        for _ in range(trials)
    ]
    sds = np.array([one.standard_deviation for one in found])
    assert np.mean(sds) == pytest.approx(true, rel=0.02)
    # Relative variance of a standard deviation: 1/(2 ν), JCGM 100:2008, E.4.3.
    assert np.var(sds / true) == pytest.approx(1 / (2 * found[0].degrees_of_freedom), rel=0.08)


def test_ranges_of_old_field_sheets_are_worth_less_than_all_readings():
    # Six bottles of three readings: 6 × 2 degrees of freedom by all readings, a tenth less so.
    found = repeatability_from_ranges([2e-5] * 6, 3)
    assert 0.9 < found.degrees_of_freedom / 12 < 1
    assert found.standard_deviation == pytest.approx(2e-5 / 1.693, rel=1e-3)


def drifting(per_check, checks=12):
    """Pure water at changing temperatures on a five-decimal meter that drifts, less its index."""
    temperatures = [18 + 0.5 * i for i in range(checks)]
    read = [round(float(water_index(t)) + per_check * i, 5) for i, t in enumerate(temperatures)]
    return [value - float(water_index(t)) for value, t in zip(read, temperatures, strict=True)]


def test_drift_of_one_step_a_check_is_seen_before_it_is_worth_a_quarter_point():
    # 1e-5 a check; three standard deviations of 2e-5 alone would wait for the seventh.
    seen = watched(drifting(1e-5), 0.0, 2e-5)
    assert int(np.argmax(seen.beyond)) <= 6
    assert seen.beyond[-1]
    assert (1e-5 * np.argmax(seen.beyond)) / 3.0e-4 < 0.25
    assert not watched(drifting(0.0), 0.0, 2e-5).beyond.any()


def test_weight_of_one_looks_at_each_reading_alone():
    seen = watched([0.0, 2.9, 3.1, 0.0], 0.0, 1.0, newest=1)
    assert seen.weighted_mean == pytest.approx([0.0, 2.9, 3.1, 0.0])
    assert seen.beyond.tolist() == [False, False, True, False]


def test_limits_hold_from_the_first_reading_on():
    # Alone it is one reading: its share of three standard deviations.
    seen = watched([0.0], 0.0, 1.0)
    assert seen.high[0] == pytest.approx(0.3 * 3.0)
    rng = np.random.default_rng(13)
    first = [watched(rng.normal(0, 1, 3), 0.0, 1.0).beyond for _ in range(4000)]
    assert np.mean(first, axis=0) == pytest.approx([0.0027] * 3, abs=0.003)


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: range_factors(1), "out_of_range", "count"),
        (lambda: range_factors(26), "out_of_range", "count"),
        (lambda: repeatability_from_ranges([0, 0], 3), "out_of_range", "ranges"),
        (lambda: repeatability_from_ranges([-1], 3), "out_of_range", "ranges"),
        (lambda: watched([], 0, 1), "too_few_points", "values"),
        (lambda: watched([1], 0, 0), "out_of_range", "sd"),
        (lambda: watched([1], 0, 1, newest=0), "out_of_range", "newest"),
        (lambda: watched([1], 0, 1, sigmas=9), "out_of_range", "sigmas"),
        (lambda: watched([math.nan], 0, 1), "not_finite", "values"),
    ],
)
def test_what_cannot_be_watched_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; " in str(refused.value)


def test_scatter_from_repeats_is_the_pooled_variance():
    """Against the residual variance of a one-way analysis by statsmodels."""
    bottles = [[1.33400, 1.33402, 1.33401], [1.33361, 1.33364], [1.33390]]
    group = np.repeat(range(3), [3, 2, 1])
    readings = np.concatenate(bottles)
    design = (group[:, None] == np.arange(3)).astype(float)
    model = statsmodels.api.OLS(readings, design).fit()
    found = repeatability_from_repeats(bottles)
    assert found.standard_deviation == pytest.approx(math.sqrt(model.mse_resid), rel=1e-8)
    assert found.degrees_of_freedom == model.df_resid == 3


def test_repeats_that_never_differ_say_zero_and_single_readings_nothing():
    assert repeatability_from_repeats([[1.334, 1.334], [1.335]]).standard_deviation == 0
    with pytest.raises(CalcError) as refused:
        repeatability_from_repeats([[1.334], [1.335]])
    assert refused.value.code == "too_few_points"
