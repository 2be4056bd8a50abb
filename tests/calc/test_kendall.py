"""Slope and trend by ranks against scipy, against counting every order, and against their laws.

Published values stand in published/test_years.py (topic h).
"""

from itertools import permutations
from math import factorial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calc.errors import CalcError
from calc.kendall import FEWEST, mann_kendall, slopes_cut_off, tail_of_s, theil_sen

FIXED = settings(derandomize=True, deadline=None, max_examples=60, database=None)
# Thousandths, so that equal values and equal slopes are exactly equal.
series = st.lists(st.integers(1500, 6000), min_size=3, max_size=30)


def s_of(values):
    return sum(
        int(np.sign(b - a)) for i, a in enumerate(values) for b in values[i + 1 :]
    )  # by its definition


@pytest.mark.parametrize("values", [[1, 2, 2, 3, 5], [1, 1, 1, 2, 2, 3], [4, 4, 4, 4], [3, 1, 2]])
def test_exact_chance_with_ties_is_that_of_counting_every_order(values):
    orders = [s_of(order) for order in permutations(values)]
    for s in range(-15, 16):
        ties = tuple(sorted(values.count(v) for v in set(values)))
        assert tail_of_s(s, ties) == pytest.approx(np.mean([o >= s for o in orders]), abs=1e-12)
    found = mann_kendall(values)
    two_sided = np.mean([abs(o) >= abs(found.s) for o in orders])
    assert found.p_exact == pytest.approx(two_sided, abs=1e-12)


@pytest.mark.parametrize("n", [3, 5, 8, 15, 30, 50])
def test_exact_chance_without_ties_is_that_of_scipy(n):
    values = np.random.default_rng(n).normal(3.2, 0.1, n) + np.arange(n) * 0.01
    expected = stats.kendalltau(np.arange(n), values, method="exact").pvalue
    assert mann_kendall(values).p == pytest.approx(expected, rel=1e-9)


def test_long_series_uses_the_normal_approximation():
    values = np.random.default_rng(2).normal(3.2, 0.1, 61) + np.arange(61) * 2e-3
    found = mann_kendall(values)
    assert found.p_exact is None
    exact = stats.kendalltau(np.arange(61), values, method="exact").pvalue
    assert found.p == pytest.approx(exact, abs=0.005)


@pytest.mark.parametrize("n", [5, 12, 30, 80])
def test_slope_is_that_of_scipy_and_the_interval_nearly(n):
    rng = np.random.default_rng(n)
    x, y = np.sort(rng.uniform(0, n, n)), rng.normal(3.2, 0.1, n)
    ours, theirs = theil_sen(x, y), stats.theilslopes(y, x, 0.95)
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-12)
    slopes = sorted((y[j] - y[i]) / (x[j] - x[i]) for i in range(n) for j in range(i + 1, n))
    # scipy takes the normal approximation for any n: its bound is a few slopes away at most.
    ranks = [np.searchsorted(slopes, v) for v in (ours.low, theirs.low_slope, ours.high)]
    assert abs(ranks[0] - ranks[1]) <= 2
    assert ranks[0] == len(slopes) - 1 - ranks[2]


def test_interval_of_a_slope_covers_as_often_as_it_says():
    rng = np.random.default_rng(7)
    for n in (5, 8):
        covered = 0
        for _ in range(1500):
            found = theil_sen(range(n), rng.normal(0, 1, n))
            covered += found.low <= 0 <= found.high
        assert covered / 1500 >= 0.94, n


def test_no_interval_where_even_the_widest_covers_too_little():
    assert [slopes_cut_off(n) for n in (2, 3, 4, 5)] == [0, 0, 0, 1]
    assert 2 / factorial(FEWEST - 1) > 0.05 >= 2 / factorial(FEWEST)
    found = theil_sen([0, 1, 2, 3], [3.1, 3.2, 3.3, 3.5])
    assert (found.low, found.high) == (None, None)
    assert found.slope == pytest.approx(0.1166666667)


@FIXED
@given(series, st.randoms())
def test_order_of_input_does_not_matter_to_the_slope(values, random):
    points = list(enumerate(values))
    random.shuffle(points)
    assert theil_sen(*zip(*points, strict=True)) == theil_sen(range(len(values)), values)


@FIXED
@given(series, st.integers(1, 9), st.integers(-1000, 1000))
def test_scale_and_shift_of_the_values_go_through(values, scale, shift):
    before = theil_sen(range(len(values)), values)
    after = theil_sen(range(len(values)), [scale * v + shift for v in values])
    assert after.slope == pytest.approx(scale * before.slope, abs=1e-9)
    if before.low is not None:
        assert after.low == pytest.approx(scale * before.low, abs=1e-9)
    assert mann_kendall([scale * v + shift for v in values]) == mann_kendall(values)


@FIXED
@given(series)
def test_series_turned_around_falls_as_it_rose(values):
    forth, back = mann_kendall(values), mann_kendall(values[::-1])
    assert back.s == -forth.s
    assert back.p == forth.p


@FIXED
@given(st.lists(st.integers(-30, 30), min_size=9, max_size=20), st.integers(0, 19))
def test_one_outlier_moves_the_slope_no_further_than_its_neighbours(noise, place):
    # The n - 1 slopes through one point of n can shift the median by n/2 places, no further,
    # whatever the point reads.
    values = [3000 + 20 * i + e for i, e in enumerate(noise)]
    n = len(values)
    slopes = sorted((values[j] - values[i]) / (j - i) for i in range(n) for j in range(i + 1, n))
    bad = list(values)
    bad[place % n] += 10**9
    middle = len(slopes) // 2
    low, high = slopes[max(middle - n, 0)], slopes[min(middle + n, len(slopes) - 1)]
    assert low <= theil_sen(range(n), bad).slope <= high


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: theil_sen([1, 1], [2, 3]), "same_time", "times"),
        (lambda: theil_sen([1, 2, 3], [2, 3]), "shapes_differ", "values"),
        (lambda: theil_sen([1], [2]), "too_few_points", "times"),
        (lambda: theil_sen([1, 2], [2, None]), "not_finite", "values"),
        (lambda: theil_sen([1, 2], [2, "x"]), "not_a_number", "values"),
        (lambda: theil_sen([0, 1e-300], [1e308, -1e308]), "beyond_numbers", "values"),
        (lambda: mann_kendall([3]), "too_few_points", "values"),
    ],
)
def test_series_without_a_slope_is_refused(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
