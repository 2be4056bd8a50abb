"""The line and what its points say against it, beside published data and independent refits.

Published coefficients stand in published/; here are the laws, the small cases, and an
independent library (statsmodels) for the studentised residuals.
"""

import numpy as np
import pytest
from statsmodels.api import OLS, WLS, add_constant

from calc.errors import CalcError
from calc.line import curvature, fit_both_axes, fit_line, studentised_residuals

PERCENT = [0.0, 2.0, 3.0, 4.0, 5.0, 6.0]
READING = [1.33301, 1.33359, 1.33389, 1.33416, 1.33449, 1.33474]


def test_exact_line_is_found_with_no_scatter():
    line = fit_line([0, 2, 3, 4], [10.0, 14.0, 16.0, 18.0])
    assert (line.slope, line.intercept, line.residual_sd) == (2.0, 10.0, 0.0)
    assert (line.r, line.degrees_of_freedom, line.points) == (1.0, 2, 4)


def test_three_points_leave_one_degree_of_freedom():
    line = fit_line([0, 1, 2], [0.0, 1.0, 1.0])
    # By hand: slope 1/2, intercept 1/6, residuals -1/6, 1/3, -1/6, so s² = 1/6.
    assert line.degrees_of_freedom == 1
    assert line.slope == pytest.approx(1 / 2, rel=1e-15)
    assert line.intercept == pytest.approx(1 / 6, rel=1e-14)
    assert line.residual_sd**2 == pytest.approx(1 / 6, rel=1e-14)


def test_line_agrees_with_an_independent_library():
    theirs = OLS(READING, add_constant(PERCENT)).fit()
    line = fit_line(PERCENT, READING)
    assert [line.intercept, line.slope] == pytest.approx(theirs.params, rel=1e-11)
    assert [line.u_intercept, line.u_slope] == pytest.approx(theirs.bse, rel=1e-9)
    assert line.covariance == pytest.approx(theirs.cov_params()[0, 1], rel=1e-9)
    assert line.r**2 == pytest.approx(theirs.rsquared, rel=1e-12)


def test_batch_has_the_bits_of_the_single_lines():
    rng = np.random.default_rng(11)
    percent = rng.uniform(0, 8, size=(24, 300))
    reading = 1.333 + 2e-4 * percent + rng.normal(scale=2e-5, size=percent.shape)
    batch = fit_line(percent, reading)
    for i in range(300):
        single = fit_line(percent[:, i], reading[:, i])
        for name in ("slope", "intercept", "r", "residual_sd", "percent_spread"):
            assert getattr(batch, name)[i] == getattr(single, name)


@pytest.mark.parametrize(
    ("percent", "reading", "code"),
    [
        ([0, 1], [1, 2], "too_few_points"),
        ([0, 1, 2], [1, 2], "shapes_differ"),
        (3.0, 1.333, "shapes_differ"),
        ([3, 3, 3], [1, 2, 3], "no_spread"),
        ([[0, 3], [1, 3], [2, 3]], [[1, 1], [2, 2], [3, 3]], "no_spread"),
    ],
)
def test_points_that_carry_no_line_are_refused(percent, reading, code):
    with pytest.raises(CalcError) as refused:
        fit_line(percent, reading)
    assert refused.value.code == code
    assert refused.value.message


def test_quadratic_term_agrees_with_a_polynomial_fit():
    reading = [r + 3e-6 * p * p for p, r in zip(PERCENT, READING, strict=True)]
    theirs = OLS(reading, np.vander(PERCENT, 3)).fit()
    bend = curvature(PERCENT, reading)
    assert bend.term == pytest.approx(theirs.params[0], rel=1e-7)
    assert bend.residual_sd / bend.spread**0.5 == pytest.approx(theirs.bse[0], rel=1e-6)
    assert bend.degrees_of_freedom == theirs.df_resid


def test_curvature_needs_four_points_and_three_percents():
    with pytest.raises(CalcError) as few:
        curvature([0, 2, 3], [1, 2, 3])
    assert few.value.code == "too_few_points"
    with pytest.raises(CalcError) as same:
        curvature([0, 0, 3, 3], [1, 2, 3, 4])
    assert same.value.code == "no_spread"


def test_studentised_residuals_agree_with_an_independent_library():
    theirs = OLS(READING, add_constant(PERCENT)).fit().get_influence()
    own = studentised_residuals(PERCENT, READING, fit_line(PERCENT, READING))
    assert own == pytest.approx(theirs.resid_studentized_external, rel=1e-7)


def test_studentised_residual_is_the_miss_of_the_line_through_the_others():
    own = studentised_residuals(PERCENT, READING, fit_line(PERCENT, READING))
    for i in range(len(PERCENT)):
        rest = fit_line(np.delete(PERCENT, i), np.delete(READING, i))
        off_centre = (PERCENT[i] - rest.percent_mean) ** 2 / rest.percent_spread
        u_miss = rest.residual_sd * np.sqrt(1 + 1 / rest.points + off_centre)
        miss = READING[i] - rest.intercept - rest.slope * PERCENT[i]
        assert own[i] == pytest.approx(miss / u_miss, rel=1e-6)


def test_least_scatter_keeps_rounded_readings_from_looking_like_slips():
    reading = [1.3331, 1.3333, 1.3335, 1.3337, 1.3340]  # four exact, one step off
    percent = [0, 1, 2, 3, 4]
    line = fit_line(percent, reading)
    assert abs(studentised_residuals(percent, reading, line)[4]) > 1e5
    assert abs(studentised_residuals(percent, reading, line, least_sd=3e-5)[4]) < 5


def test_point_on_a_perfect_line_has_no_residual():
    line = fit_line([0, 1, 2, 3], [0.0, 1.0, 2.0, 3.0])
    assert studentised_residuals([0, 1, 2, 3], [0.0, 1.0, 2.0, 3.0], line).tolist() == [0, 0, 0, 0]


def test_weighted_line_agrees_with_an_independent_library():
    weight = np.array([3.0, 1.0, 1.0, 2.0, 1.0, 0.5])
    theirs = WLS(READING, add_constant(PERCENT), weights=weight).fit()
    line = fit_line(PERCENT, READING, weight)
    assert [line.intercept, line.slope] == pytest.approx(theirs.params, rel=1e-11)
    assert [line.u_intercept, line.u_slope] == pytest.approx(theirs.bse, rel=1e-9)
    root = np.sqrt(weight)[:, None] * add_constant(PERCENT)
    hat = root @ np.linalg.inv(root.T @ root) @ root.T
    assert line.leverage(np.array(PERCENT)) == pytest.approx(np.diag(hat), rel=1e-9)


def test_point_without_weight_is_as_if_it_were_not_there():
    padded = fit_line([*PERCENT, 9.0, 0.0], [*READING, 7.0, 0.0], [1.0] * 6 + [0.0] * 2)
    plain = fit_line(PERCENT, READING)
    for name in ("slope", "intercept", "r", "residual_sd", "points", "percent_spread"):
        assert getattr(padded, name) == getattr(plain, name)


def test_line_with_exact_percents_is_the_weighted_line():
    u = np.array([1.0, 2.0, 1.0, 1.0, 3.0, 1.0]) * 1e-5
    both = fit_both_axes(PERCENT, READING, np.zeros(6), u).line
    weighted = fit_line(PERCENT, READING, 1 / u**2)
    assert both.slope == pytest.approx(weighted.slope, rel=1e-12)
    assert both.residual_sd == pytest.approx(weighted.residual_sd, rel=1e-9)


def test_line_with_error_in_both_axes_does_not_depend_on_which_is_called_which():
    u_percent, u_reading = np.full(6, 0.05), np.full(6, 2e-5)
    there = fit_both_axes(PERCENT, READING, u_percent, u_reading).line
    back = fit_both_axes(READING, PERCENT, u_reading, u_percent).line
    assert there.slope * back.slope == pytest.approx(1, rel=1e-9)


def test_many_lines_with_error_in_both_axes_are_those_of_each():
    rng = np.random.default_rng(4)
    reading = np.array(READING)[:, None] + rng.normal(scale=2e-5, size=(6, 40))
    percent = np.broadcast_to(np.array(PERCENT)[:, None], reading.shape)
    u_percent, u_reading = 0.02 * percent + 0.001, np.full(reading.shape, 2e-5)
    many = fit_both_axes(percent, reading, u_percent, u_reading).line
    for i in range(40):
        own = (slice(None), i)
        one = fit_both_axes(percent[own], reading[own], u_percent[own], u_reading[own]).line
        assert (one.slope, one.intercept) == (many.slope[i], many.intercept[i])
