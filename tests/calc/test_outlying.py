"""One value that stands apart. Published values stand in published/; these here are invented."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calc.errors import CalcError
from calc.outlying import EITHER, HIGHEST, LOWEST, outlying, outlying_critical

FIXED = settings(derandomize=True, deadline=None, max_examples=60, database=None)


@pytest.mark.parametrize(("side", "allowed"), [(EITHER, 0.05), (HIGHEST, 0.05), (LOWEST, 0.05)])
@pytest.mark.parametrize("count", [3, 5, 12])
def test_chance_alone_raises_the_alarm_as_often_as_stated(side, allowed, count):
    rng = np.random.default_rng(11)
    alarms = [outlying(rng.normal(0, 1, count), side).stands_apart for _ in range(4000)]
    assert np.mean(alarms) == pytest.approx(allowed, abs=0.012)


def test_critical_value_is_reached_by_student_s_t_of_the_deleted_residual():
    # The same test the other way: with G at its limit, t of the value against the rest is the
    # quantile of scipy's t at level/(2n).
    n = 8
    g = outlying_critical(n)
    t = math.sqrt(n * (n - 2) * g * g / ((n - 1) ** 2 - n * g * g))
    assert t == pytest.approx(stats.t.ppf(1 - 0.05 / (2 * n), n - 2), rel=1e-9)


def test_a_step_of_the_display_is_no_alarm_where_the_least_scatter_is_known():
    values = [3.2, 3.2, 3.2, 3.2, 3.3]
    assert outlying(values).stands_apart
    assert not outlying(values, least_sd=0.1).stands_apart


def test_equal_values_do_not_stand_apart():
    for values in ([3.2, 3.2, 3.2], [0.3, 0.3, 0.3, 0.3, 0.1 + 0.2], [0.0, 0.0, 0.0]):
        found = outlying(values)
        assert (found.g, found.stands_apart) == (0.0, False)


def test_side_that_was_not_asked_for_is_not_looked_at():
    values = [3.2, 3.21, 3.19, 3.2, 2.0]
    assert outlying(values, LOWEST).index == 4
    assert outlying(values, LOWEST).stands_apart
    assert not outlying(values, HIGHEST).stands_apart


@FIXED
@given(
    st.lists(st.floats(-10, 10), min_size=3, max_size=12, unique=True),
    st.floats(0.1, 100),
    st.floats(-100, 100),
)
def test_unit_and_zero_of_the_scale_do_not_matter(values, scale, shift):
    plain = outlying(values)
    moved = outlying([scale * value + shift for value in values])
    assert moved.g == pytest.approx(plain.g, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: outlying([1, 2]), "too_few_points", "values"),
        (lambda: outlying([1, 2, "x"]), "not_a_number", "values"),
        (lambda: outlying([1, 2, math.inf]), "not_finite", "values"),
        (lambda: outlying([1, 2, 3], "both"), "unknown_choice", "side"),
        (lambda: outlying([1, 2, 3], level=0.5), "out_of_range", "level"),
        (lambda: outlying([1, 2, 3], least_sd=-1), "out_of_range", "least_sd"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; " in str(refused.value)
