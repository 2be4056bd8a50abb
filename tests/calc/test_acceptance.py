"""Band, limits and certainty. Source of the common rule: NFPA 11, section on induction rate."""

import math
from decimal import Decimal

import numpy as np
import pytest
from scipy.stats import t as student

from calc.acceptance import Verdict, certainty, custom_band, judge, limits, side
from calc.criteria import common_band
from calc.errors import CalcError


def test_upper_limit_is_exact_in_decimal():
    assert common_band(3.0).upper == Decimal("3.9")
    assert 3.0 * 1.3 != 3.9  # what binary arithmetic would have made of it
    assert common_band(2.75).upper == Decimal("3.575")
    assert common_band("2.75").upper == Decimal("3.575")


@pytest.mark.parametrize(
    ("nominal", "lower", "upper"), [("3", "3", "3.9"), ("1", "1", "1.3"), ("6", "6", "7")]
)
def test_band_is_nominal_to_the_lower_of_two_rules(nominal, lower, upper):
    assert common_band(nominal) == common_band(float(nominal)) == common_band(Decimal(nominal))
    assert common_band(nominal) == custom_band(lower, upper)


@pytest.mark.parametrize(
    ("percent", "expected"),
    [
        (3.0, "in band"),
        (3.9, "in band"),
        (3.0 - 1e-9, "in band"),
        (3.9 + 1e-9, "in band"),
        (3.0 - 2e-9, "lean"),
        (3.9 + 2e-9, "rich"),
        (3.9000001, "rich"),
        (-0.2, "lean"),
        (3.45, "in band"),
    ],
)
def test_limits_are_inside_the_band_and_so_is_what_lies_on_them(percent, expected):
    assert limits(percent, common_band(3.0)) == expected


def test_limit_is_never_rounded_outward():
    # A table in print shows 3.6 for 2.75 % (check-values G-07): 3.58 is rich all the same.
    assert limits(3.575, common_band(2.75)) == "in band"
    assert limits(3.58, common_band(2.75)) == "rich"


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: common_band(0), "out_of_range", "nominal"),
        (lambda: common_band(-3), "out_of_range", "nominal"),
        (lambda: common_band(101), "out_of_range", "nominal"),
        (lambda: common_band("3,0"), "not_a_number", "nominal"),
        (lambda: common_band(float("nan")), "not_finite", "nominal"),
        (lambda: common_band("Infinity"), "not_finite", "nominal"),
        (lambda: custom_band(3.9, 3.0), "limits_out_of_order", "limits"),
        (lambda: custom_band(3.0, 3.0), "limits_out_of_order", "limits"),
        (lambda: custom_band(-0.1, 3.0), "limits_out_of_order", "limits"),
        (lambda: custom_band(3.0, 100.1), "limits_out_of_order", "limits"),
        (lambda: custom_band("3", "x"), "not_a_number", "upper"),
    ],
)
def test_impossible_band_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "give " in str(refused.value)


def test_probability_of_limits_is_that_of_the_stated_side():
    # Normal case: z = 1 and 2 give 0.8413447 and 0.9772499 (JCGM 106:2012 method, JCGM 100 G.1).
    lean = judge(2.9, 0.1, math.inf, 3.0, 3.9)
    assert lean.side == -1
    assert lean.probability_of_limits == lean.probability_lean
    assert lean.probability_of_limits == pytest.approx(0.841344746069, abs=1e-9)
    assert lean.probability_in_band == pytest.approx(0.158655253931, abs=1e-9)
    rich = judge(4.1, 0.1, math.inf, 3.0, 3.9)
    assert rich.side == 1
    assert rich.probability_of_limits == pytest.approx(0.977249868052, abs=1e-9)
    inside = judge(3.45, 0.1, math.inf, 3.0, 3.9)
    assert inside.probability_of_limits == inside.probability_in_band > 0.9999


def test_few_degrees_of_freedom_widen_the_probability():
    # Student t with 4 degrees of freedom has standard deviation √2: P(T < √2) by scipy.
    lean = judge(2.0, 1.0, 4, 3.0, 3.9)
    assert lean.probability_of_limits == pytest.approx(student.cdf(math.sqrt(2), 4), abs=1e-12)


def test_value_on_a_limit_is_a_coin_toss():
    assert judge(3.0, 0.01, 4, 3.0, 3.9).probability_of_limits == pytest.approx(0.5, abs=1e-6)


def test_many_sides_at_once_are_those_of_each():
    percents = np.array([2.9, 3.0, 3.9, 3.95])
    assert side(percents, 3.0, 3.9).tolist() == [-1, 0, 0, 1]


def found(of_limits: float, lean: float = 0.0, side: int = 0) -> Verdict:
    return Verdict(side, of_limits if side == 0 else 0.0, lean, of_limits)


def test_certainty_wants_the_probability_asked_for():
    assert certainty(found(0.75), 0.75, None, open_question=False) == "settled"
    assert certainty(found(0.7499), 0.75, None, open_question=False) == "undecided"
    assert certainty(found(0.999), 0.75, None, open_question=True) == "undecided"


def test_lean_can_be_guarded_more_strictly_than_rich():
    near_lean, near_rich = found(0.8, lean=0.15), found(0.8, lean=0.01)
    assert certainty(near_lean, 0.75, None, open_question=False) == "settled"
    assert certainty(near_lean, 0.75, 0.95, open_question=False) == "undecided"
    assert certainty(near_rich, 0.75, 0.95, open_question=False) == "settled"


def test_a_lean_answer_is_not_held_to_the_guard_against_lean():
    lean = found(0.8, lean=0.8, side=-1)
    assert certainty(lean, 0.75, 0.95, open_question=False) == "settled"


def test_simple_acceptance_is_never_undecided():
    assert certainty(found(0.5), None, None, open_question=False) == "settled"
    assert certainty(found(0.5, lean=0.5), None, 0.95, open_question=True) == "settled"
