"""Reading off: worked examples stand in published/, here are the laws and the instrument."""

import math

import numpy as np
import pytest
from scipy import stats

import calc
from calc.inverse import instrument_sd, read_off, reading_width
from calc.line import fit_line
from tests.calc.benches import a_bench

LINE = fit_line([0, 2, 3, 4], [1.33301, 1.33359, 1.33389, 1.33416])


def test_rounding_to_a_step_is_worth_the_step_over_root_twelve():
    # JCGM 100:2008, F.2.2.1: an indication rounded to steps of size d has u = 0.29 d.
    assert instrument_sd(0.0001, None) == pytest.approx(0.0001 / math.sqrt(12), rel=1e-15)
    assert instrument_sd(1.0, None) == pytest.approx(0.29, abs=0.002)


def test_rounding_and_repeatability_add_as_squares():
    assert instrument_sd(math.sqrt(12) * 3, 4.0) == pytest.approx(5.0, rel=1e-15)


def test_more_bottles_narrow_only_their_own_share():
    one = read_off(LINE, 1.33397, 1, 2e-5).u_percent
    four = read_off(LINE, 1.33397, 4, 2e-5).u_percent
    own_share = (2e-5 / LINE.slope) ** 2
    assert one**2 - four**2 == pytest.approx(own_share * (1 - 1 / 4), rel=1e-9)


def test_uncertainty_is_least_at_the_middle_of_the_points():
    readings = LINE.intercept + LINE.slope * np.array([0.5, LINE.percent_mean, 3.9])
    low, middle, high = read_off(LINE, readings, 1, 2e-5).u_percent
    assert middle < low
    assert middle < high


def test_many_readings_at_once_are_the_same_as_one_by_one():
    readings, bottles = np.array([1.33351, 1.33397, 1.33402]), np.array([1, 3, 2])
    together = read_off(LINE, readings, bottles, 2e-5)
    for i in range(3):
        alone = read_off(LINE, readings[i], bottles[i], 2e-5)
        for name in ("percent", "u_percent"):
            assert getattr(together, name)[i] == pytest.approx(getattr(alone, name), rel=1e-12)


@pytest.mark.parametrize("step", [0.05, 0.0001, 2.0])
def test_a_line_read_between_marks_is_a_triangle_and_a_display_a_rectangle(step):
    # JCGM 100:2008: half width a over √3 for a rectangle (4.3.7), over √6 for a triangle (4.3.9);
    # the distributions once more by scipy.
    triangle = stats.triang(c=0.5, loc=-step, scale=2 * step).std()
    rectangle = stats.uniform(loc=-step / 2, scale=step).std()
    assert instrument_sd(reading_width(step, True), None) == pytest.approx(triangle, rel=1e-12)
    assert instrument_sd(reading_width(step, False), None) == pytest.approx(rectangle, rel=1e-12)
    assert triangle == pytest.approx(step / 6**0.5, rel=1e-12)


def test_reading_between_marks_widens_the_interval_and_moves_no_percent():
    display = a_bench()
    line = a_bench(instrument={**display["instrument"], "interpolated": True})
    for shown, by_eye in zip(
        calc.evaluate(display).flow_points, calc.evaluate(line).flow_points, strict=True
    ):
        assert by_eye.percent == shown.percent
        assert by_eye.standard_uncertainty > shown.standard_uncertainty
    off = {**display["instrument"], "interpolated": False}
    assert (
        calc.evaluate(a_bench(instrument=off)).inputs_digest == calc.evaluate(display).inputs_digest
    )
