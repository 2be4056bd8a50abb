"""Chances of many series, raised by how many were looked at."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from calc.discovery import adjusted
from calc.errors import CalcError

# Benjamini and Hochberg 1995, section 4.1 (from memory): fifteen chances of one trial, of which at
# 0.05 the first four stand.
TRIAL = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719,
    0.6528, 0.7590, 1.0,
]  # fmt: skip


def test_four_of_the_fifteen_of_the_paper_stand():
    assert [value <= 0.05 for value in adjusted(TRIAL)] == [True] * 4 + [False] * 11


def test_order_of_the_series_does_not_matter_and_one_alone_stays_as_it_is():
    assert adjusted(TRIAL[::-1]) == adjusted(TRIAL)[::-1]
    assert adjusted([0.03]) == [0.03]
    assert adjusted([]) == []


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60))
def test_it_agrees_with_another_library(chances):
    """statsmodels, multipletests by fdr_bh."""
    assert adjusted(chances) == pytest.approx(multipletests(chances, method="fdr_bh")[1], abs=1e-12)


@pytest.mark.parametrize(("wrong", "code"), [([1.2], "out_of_range"), (["x"], "not_a_number")])
def test_what_is_no_chance_is_refused(wrong, code):
    with pytest.raises(CalcError) as refused:
        adjusted(wrong)
    assert refused.value.code == code
