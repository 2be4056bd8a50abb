"""A step between two groups against scipy and against counting every choice."""

from itertools import combinations
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calc.errors import CalcError
from calc.ranks import rank_sums, shift_between

FIXED = settings(derandomize=True, deadline=None, max_examples=60, database=None)
group = st.lists(st.integers(2500, 4000), min_size=1, max_size=6)


@pytest.mark.parametrize(("few", "many"), [(4, 4), (5, 7), (12, 9), (30, 30)])
def test_chance_without_ties_is_that_of_scipy(few, many):
    rng = np.random.default_rng(few)
    before, after = list(rng.normal(3.2, 0.1, few)), list(rng.normal(3.3, 0.1, many))
    expected = stats.mannwhitneyu(before, after, method="exact").pvalue
    assert shift_between(before, after).p == pytest.approx(expected, rel=1e-9)


def test_chance_with_ties_is_that_of_counting_every_choice():
    before, after = [1, 2, 2, 3], [2, 3, 3, 4, 4]
    ranks = stats.rankdata([*before, *after])
    expected = len(before) * (len(ranks) + 1) / 2
    sums = [sum(ranks[list(choice)]) for choice in combinations(range(9), 4)]
    apart = abs(sum(ranks[:4]) - expected)
    rare = np.mean([abs(total - expected) >= apart - 1e-9 for total in sums])
    assert shift_between(before, after).p == pytest.approx(rare, rel=1e-12)


def test_every_choice_is_counted_once():
    assert sum(rank_sums(tuple(range(2, 42, 2)), 7).values()) == comb(20, 7)


def test_three_against_four_can_show_no_step_and_four_against_four_can():
    # Table of the rank-sum test: smallest two-sided chances 2/35 and 2/70.
    found = shift_between([3.0, 3.1, 3.2], [3.5, 3.6, 3.7, 3.8])
    assert (found.low, found.high) == (None, None)
    assert found.p == pytest.approx(2 / 35)
    found = shift_between([3.0, 3.1, 3.2, 3.3], [3.5, 3.6, 3.7, 3.8])
    assert found.low < found.middle < found.high
    assert found.p == pytest.approx(2 / 70)


def test_interval_of_a_step_covers_as_often_as_it_says():
    rng = np.random.default_rng(3)
    for few, many in ((4, 4), (6, 5)):
        covered = 0
        for _ in range(1500):
            found = shift_between(list(rng.normal(0, 1, few)), list(rng.normal(1, 1, many)))
            covered += found.low <= 1 <= found.high
        assert covered / 1500 >= 0.94


@FIXED
@given(group, group)
def test_groups_the_other_way_round_give_the_opposite_step(before, after):
    forth, back = shift_between(before, after), shift_between(after, before)
    assert back.middle == -forth.middle
    assert back.p == forth.p
    if forth.low is not None:
        assert (back.low, back.high) == (-forth.high, -forth.low)


@FIXED
@given(group, group, st.integers(-500, 500))
def test_shift_of_one_group_is_the_step(before, after, shift):
    moved = shift_between(before, [value + shift for value in after])
    assert moved.middle == shift_between(before, after).middle + shift


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [([], [1], "too_few_points"), ([1], [], "too_few_points"), ([1] * 31, [2] * 30, "too_many")],
)
def test_groups_that_cannot_be_compared_are_refused(before, after, code):
    with pytest.raises(CalcError) as refused:
        shift_between(before, after)
    assert refused.value.code.startswith(code)
    assert refused.value.message
