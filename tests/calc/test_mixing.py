"""The cross-check by water and undiluted concentrate, and the slips that only it can show.

Figures of the bench session: common practice, no published source. All others are invented.
"""

import math

import numpy as np
import pytest

from calc.criteria import common_band
from calc.errors import CalcError
from calc.inverse import instrument_sd
from calc.line import fit_line
from calc.mixing import (
    AGREE,
    FLATTER,
    STEEPER,
    by_mixing,
    cross_check,
    mixing_line,
    reverses,
    steps_in_band,
    tank_dilution,
)
from calc.standards import as_made_percent

COARSE = instrument_sd(1e-4, None)
FINE = instrument_sd(1e-5, None)
WATER, LOT = 1.33300, 1.36300  # slope 3.0e-4


def standards_of(share_poured, concentrate=LOT, percents=(2.0, 3.0, 4.0)):
    """Line through standards that hold another share of the concentrate than was written down."""
    slope = (concentrate - WATER) / 100
    readings = [WATER, *[WATER + slope * p * share_poured for p in percents]]
    return fit_line([0.0, *percents], readings)


def checked(line, concentrate=LOT, u=FINE):
    mixing = mixing_line(WATER, concentrate, u, u)
    u_slope = u / math.sqrt(float(line.percent_spread))
    return cross_check(mixing, line.slope, u_slope, line.degrees_of_freedom)


@pytest.mark.parametrize(("reading", "percent"), [(1.3337, 3.333), (1.3338, 3.889)])
def test_bench_session_by_mixing(reading, percent):
    mixing = mixing_line(1.3331, 1.3511, COARSE, COARSE)
    assert mixing.slope == pytest.approx(1.8e-4, rel=1e-9)
    assert by_mixing(mixing, reading, COARSE).percent == pytest.approx(percent, abs=5e-4)


def test_bench_session_is_reversed_by_the_second_way():
    # Least squares says 4.362 % (rich), mixing 3.889 % (in band): the second statement must show.
    line = fit_line([0, 2, 3, 4], [1.3331, 1.3334, 1.3335, 1.3338])
    mixing = mixing_line(1.3331, 1.3511, COARSE, COARSE)
    first, second = ((y - line.intercept) / line.slope for y in (1.3337, 1.3338))
    assert not reverses(first, by_mixing(mixing, 1.3337, COARSE).percent, common_band(3))
    assert reverses(second, by_mixing(mixing, 1.3338, COARSE).percent, common_band(3))


def test_slopes_of_the_bench_session_differ_by_less_than_four_decimals_can_tell():
    line = fit_line([0, 2, 3, 4], [1.3331, 1.3334, 1.3335, 1.3338])
    u_slope = max(float(line.u_slope), COARSE / math.sqrt(8.75))
    check = cross_check(
        mixing_line(1.3331, 1.3511, COARSE, COARSE), line.slope, u_slope, line.degrees_of_freedom
    )
    assert check.ratio == pytest.approx(1.65714 / 1.8, abs=1e-5)
    assert check.verdict == AGREE


def test_right_standards_agree():
    check = checked(standards_of(1.0))
    assert check.verdict == AGREE
    assert check.ratio == pytest.approx(1, abs=1e-9)
    assert tank_dilution(check) is None


def test_three_parts_added_to_a_hundred_are_seen_with_a_better_instrument():
    # Pitfall 20: 3 mL added to 100 mL is 2.91 %, and samples read 3 % too rich by the line.
    percents = (2.0, 3.0, 4.0, 6.0, 8.0)
    made = [as_made_percent(p, 100) for p in percents]
    slope = (LOT - WATER) / 100
    line = fit_line([0.0, *percents], [WATER, *[WATER + slope * p for p in made]])
    sample = (WATER + slope * 3.0 - line.intercept) / line.slope
    assert made[1] == pytest.approx(2.91, abs=0.005)
    assert sample == pytest.approx(3.09, abs=0.15)
    fine = checked(line, u=1e-6)
    assert fine.verdict == FLATTER


def test_liquid_left_in_the_pipette_makes_a_perfect_line_and_a_flat_one():
    # Pitfall 22: 10 % stays in the pipette, a true 2.7 % reads 3.0 %.
    line = standards_of(0.9)
    assert line.r == pytest.approx(1)
    sample = (WATER + 3.0e-4 * 2.7 - line.intercept) / line.slope
    assert sample == pytest.approx(3.0, abs=1e-6)
    check = checked(line)
    assert check.verdict == FLATTER
    assert check.ratio == pytest.approx(0.9, abs=1e-6)
    mixing = mixing_line(WATER, LOT, FINE, FINE)
    assert by_mixing(mixing, WATER + 3.0e-4 * 2.7, FINE).percent == pytest.approx(2.7, abs=1e-6)


def test_standards_from_the_drum_and_a_diluted_tank():
    # Pitfall 18: the tank holds one part of water in ten.
    tank = WATER + 0.9 * (LOT - WATER)
    check = checked(standards_of(1.0), concentrate=tank)
    assert check.verdict == STEEPER
    dilution = tank_dilution(check)
    assert dilution.share_left == pytest.approx(0.9, abs=1e-6)
    assert dilution.low < 0.9 < dilution.high < 1


def test_standards_from_the_diluted_tank_itself_show_nothing():
    tank = WATER + 0.9 * (LOT - WATER)
    check = checked(standards_of(1.0, concentrate=tank), concentrate=tank)
    assert check.verdict == AGREE


@pytest.mark.parametrize(
    ("concentrate", "step", "steps"),
    [(1.3500, 0.59, 1.5), (1.3580, 0.40, 2.3), (1.3630, 0.33, 2.7), (1.3800, 0.21, 4.2)],
)
def test_four_decimals_divide_the_band_into_few_steps(concentrate, step, steps):
    # Pitfall 3, with water of 1.33299 (check values B-02) and the band of a 3 % system.
    line = mixing_line(1.33299, concentrate, COARSE, COARSE)
    assert 1e-4 / line.slope == pytest.approx(step, abs=0.006)
    assert steps_in_band(line, 1e-4, common_band(3)) == pytest.approx(steps, abs=0.06)
    assert steps_in_band(line, 1e-5, common_band(3)) == pytest.approx(10 * steps, abs=0.6)


def test_one_percent_system_needs_five_decimals():
    line = mixing_line(1.33299, 1.3630, COARSE, COARSE)
    assert steps_in_band(line, 1e-4, common_band(1)) < 1
    assert steps_in_band(line, 1e-5, common_band(1)) > 3


def test_uncertainty_of_a_sample_follows_its_three_readings():
    # By hand at 3 %, slope 3.0e-4, u 1e-5 each: √(1 + 0.97² + 0.03²)/30 = 0.04645 points.
    result = by_mixing(mixing_line(WATER, LOT, 1e-5, 1e-5), WATER + 9e-4, 1e-5)
    assert result.u_percent == pytest.approx(math.sqrt(1 + 0.97**2 + 0.03**2) / 30, rel=1e-9)
    assert result.degrees_of_freedom == math.inf
    poor = by_mixing(mixing_line(WATER, LOT, 1e-5, 2e-4), WATER + 9e-4, 1e-5)
    assert poor.u_percent == pytest.approx(result.u_percent, rel=0.1)


def test_simulated_samples_scatter_as_stated():
    rng = np.random.default_rng(11)
    size = 20_000
    noise = rng.normal(0, 2e-5, (3, size))
    line = mixing_line(WATER + noise[0], LOT + noise[1], 2e-5, 2e-5)
    result = by_mixing(line, WATER + 9e-4 + noise[2], 2e-5)
    assert np.std(result.percent) == pytest.approx(float(np.mean(result.u_percent)), rel=0.02)
    covered = np.mean((result.low < 3) & (result.high > 3))
    assert covered == pytest.approx(0.95, abs=0.01)


def test_many_benches_at_once_are_the_single_ones():
    line = mixing_line([WATER, WATER], [LOT, 1.36], FINE, FINE)
    many = cross_check(line, [3.0e-4, 3.0e-4], 1e-6, [2, 2])
    one = cross_check(mixing_line(WATER, 1.36, FINE, FINE), 3.0e-4, 1e-6, 2)
    assert list(many.verdict) == [AGREE, one.verdict] == [AGREE, STEEPER]
    assert many.ratio[1] == one.ratio


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: mixing_line(1.333, 1.333, 1e-5, 1e-5), "flat_line", "concentrate"),
        (lambda: mixing_line([1.333] * 2, [1.363] * 3, 1e-5, 1e-5), "shapes_differ", "concentrate"),
        (lambda: mixing_line(1.333, 1.363, 0, 1e-5), "out_of_range", "u_water"),
        (lambda: mixing_line(None, 1.363, 1e-5, 1e-5), "not_finite", "water"),
        (
            lambda: by_mixing(mixing_line(1.333, 1.363, 1e-5, 1e-5), 1.334, -1),
            "out_of_range",
            "u_reading",
        ),
        (
            lambda: cross_check(mixing_line(1.333, 1.363, 1e-5, 1e-5), math.inf, 1e-6, 2),
            "not_finite",
            "slope",
        ),
    ],
)
def test_impossible_cross_check_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
