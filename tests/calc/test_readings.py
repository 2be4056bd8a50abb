"""Readings made comparable, and what goes wrong on the bench when they are not.

Published values stand in published/; the sizes of slips are those of the trade, computed
from the slopes of concentrates of index 1.3630 and 1.3500. Readings are invented.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.errors import CalcError
from calc.readings import (
    at_temperature,
    brix_correction,
    brix_to_index,
    effective_coefficient,
    index_to_brix,
    linear_to_25,
    natural_water_factor,
    salinity_between,
    water_moved,
)
from calc.units import CONDUCTIVITY
from tests.calc.test_laws import FIXED

STEEP, FLAT = 3.0e-4, 1.7e-4  # index per point, concentrates of index 1.3630 and 1.3500


@FIXED
@given(st.floats(-5, 85))
def test_brix_to_index_and_back_is_the_same_mark(brix):
    assert index_to_brix(brix_to_index(brix)) == pytest.approx(brix, abs=1e-10)


@FIXED
@given(st.floats(1.327, 1.503))
def test_index_to_brix_and_back_is_the_same_index(index):
    assert brix_to_index(index_to_brix(index)) == pytest.approx(index, abs=1e-13)


def test_scale_rises_all_the_way():
    assert (np.diff(brix_to_index(np.linspace(-5, 85, 9001))) > 0).all()


def test_scale_keeps_to_the_published_table_between_its_tens():
    # ICUMSA table at 20 °C (1974), as printed in the data of the library `chemicals` 1.5.2.
    table = {
        1: 1.33442,
        5: 1.34026,
        15: 1.35568,
        25: 1.37233,
        33: 1.38661,
        45: 1.40978,
        85: 1.50398,
    }
    assert brix_to_index(list(table)) == pytest.approx(list(table.values()), abs=6e-6)


def test_one_brix_is_about_fifteen_steps_of_a_four_decimal_scale():
    # Check values B-04, first two rows: (1.34782 - 1.33299)/10.
    assert (brix_to_index(10) - brix_to_index(0)) / 10 == pytest.approx(0.0015, abs=2e-5)


def test_correction_is_nothing_at_20_degrees_and_rises_with_warmth():
    assert brix_correction([0, 10, 30], 20) == pytest.approx([0, 0, 0], abs=1e-15)
    assert (np.diff(brix_correction(10, np.linspace(10, 30, 41))) > 0).all()


def test_correction_above_20_degrees_keeps_near_the_table():
    # OIV-MA-AS2-02, table I, 25 and 30 °C at 15 % (from memory).
    assert brix_correction(15, [25, 30]) == pytest.approx([0.36, 0.77], abs=0.03)


# What one degree is worth (pitfall 1)


@pytest.mark.parametrize(
    ("slope", "points_at_20", "points_at_25"), [(STEEP, 0.29, 0.35), (FLAT, 0.52, 0.62)]
)
def test_one_degree_between_standards_and_samples(slope, points_at_20, points_at_25):
    around_20 = at_temperature("refractive_index", 1.3339, 20.5, 19.5).shift / slope
    around_25 = at_temperature("refractive_index", 1.3339, 25.5, 24.5).shift / slope
    assert around_20 == pytest.approx(points_at_20, abs=0.015)
    assert around_25 == pytest.approx(points_at_25, abs=0.015)


def test_three_degrees_are_nearly_two_points_for_a_low_index():
    shift = at_temperature("refractive_index", 1.3339, 25, 22).shift
    assert shift / STEEP == pytest.approx(1.0, abs=0.05)
    assert shift / FLAT == pytest.approx(1.77, abs=0.05)


# The correction has a direction (pitfall 38)


@pytest.mark.parametrize("method", ["refractive_index", "brix"])
def test_cold_bottle_reads_high_and_is_corrected_down_to_the_warm_bench(method):
    reading = {"refractive_index": 1.3345, "brix": 1.05}[method]
    corrected = at_temperature(method, reading, 12, 20)
    assert corrected.shift < 0
    assert corrected.reading == pytest.approx(reading + corrected.shift, rel=1e-15)


def test_warm_bottle_conducts_more_and_is_corrected_down():
    corrected = at_temperature("conductivity", 860.0, 28, 25)
    assert corrected.shift == pytest.approx(860 / (1 + 0.0191 * 3) - 860)
    assert corrected.shift < 0


def test_wrong_sign_would_double_the_error():
    true = 1.33390
    cold = true - at_temperature("refractive_index", true, 15, 20).shift
    right = at_temperature("refractive_index", cold, 15, 20)
    assert right.reading == pytest.approx(true, abs=1e-12)
    assert (cold - right.shift) - true == pytest.approx(2 * (cold - true), rel=1e-9)


@FIXED
@given(st.sampled_from(["refractive_index", "brix", "conductivity"]), st.floats(0, 40))
def test_correction_there_and_back_is_the_reading(method, temperature):
    reading = {"refractive_index": 1.3345, "brix": 1.05, "conductivity": 860.0}[method]
    there = at_temperature(method, reading, temperature, 20).reading
    assert at_temperature(method, there, 20, temperature).reading == pytest.approx(reading)
    assert at_temperature(method, reading, temperature, temperature).shift == pytest.approx(
        0, abs=1e-12
    )


def test_compensation_for_sugar_is_not_compensation_for_foam():
    # Pitfall 2: a sugar scale at 10 °C takes off more than a weak foam solution moves. What is
    # left is a fifth to a third of a point, though the display says that it compensates.
    by_sugar = brix_correction(1.0, 10)
    as_water = at_temperature("brix", 1.0, 10, 20).shift
    left_over = (as_water - by_sugar) * 0.00143
    assert by_sugar < as_water < 0
    assert 0.15 < left_over / STEEP < left_over / FLAT < 0.5


def test_brix_of_water_moves_as_its_index_does():
    # A scale of 20 °C shows warm water below zero: (n(25) - n(20))/0.00143 per Brix, about -0.35.
    assert at_temperature("brix", 0.0, 20, 25).reading == pytest.approx(-0.35, abs=0.02)


def test_arrays_are_corrected_bottle_by_bottle():
    corrected = at_temperature("refractive_index", [1.3330, 1.3340], [18.0, 20.0], 20.0)
    assert corrected.shift[1] == 0
    single = at_temperature("refractive_index", 1.3330, 18.0, 20.0)
    assert corrected.reading[0] == single.reading


# Two waters, or one water twice


@pytest.mark.parametrize(("slope", "points"), [(STEEP, 0.6), (FLAT, 1.1)])
def test_one_gram_of_salt_between_two_waters(slope, points):
    # Size from the table of slips; estuary water does that with the tide during one test.
    salty = 1.33299 + 1.8e-4
    assert salinity_between(1.33299, salty) == pytest.approx(1.0)
    apart = water_moved(1.33299, salty, 1e-5, 1e-5, slope)
    assert apart.points == pytest.approx(points, abs=0.05)
    assert apart.moved


def test_sea_water_reads_higher_by_its_salt():
    assert salinity_between(1.33299, 1.33299 + 0.0064) == pytest.approx(35, abs=1)


def test_tap_and_pond_have_no_common_curve():
    # Pitfall 19: two waters of the same look, three steps of a five-decimal scale apart.
    assert water_moved(1.33299, 1.33305, 1e-5, 1e-5, STEEP).moved
    assert not water_moved(1.33299, 1.33301, 1e-5, 1e-5, STEEP).moved


def test_bench_that_warmed_by_a_degree_is_seen_in_its_own_water():
    last = at_temperature("refractive_index", 1.33299, 20, 21).reading
    drift = water_moved(1.33299, last, 1e-5, 1e-5, STEEP)
    assert drift.moved
    assert drift.points == pytest.approx(-0.3, abs=0.02)


# Conductivity


def test_two_percent_per_degree_in_points():
    # Invented: 860 µS/cm with 120 per point, and a low-ion liquid with 560 and 20.
    for reading, slope, points in ((860.0, 120.0, 0.14), (560.0, 20.0, 0.56)):
        shift = at_temperature("conductivity", reading, 24, 25, coefficient=0.02).shift
        assert shift / slope == pytest.approx(points, abs=0.015)


def test_linear_and_natural_water_agree_near_25_degrees():
    assert linear_to_25(500.0, 24) == pytest.approx(500 * natural_water_factor(24), rel=3e-3)
    assert natural_water_factor(25) == 1


def test_natural_water_there_and_back():
    # ISO 7888:1985 (check values C-05): f25 is 1.256 at 15 °C and 1.116 at 20 °C.
    to_25 = at_temperature("conductivity", 500.0, 15, 25, compensation="natural water")
    assert to_25.reading == pytest.approx(500 * 1.256, rel=5e-4)
    to_20 = at_temperature("conductivity", 500.0, 15, 20, compensation="natural water")
    assert to_20.reading == pytest.approx(500 * 1.256 / 1.116, rel=5e-4)


def test_coefficient_found_brings_the_reading_to_25():
    alpha = effective_coefficient(820.0, 19, 930.0)
    assert linear_to_25(820.0, 19, alpha) == pytest.approx(930.0)


def test_units_of_conductivity_lead_to_siemens_per_metre():
    # SI: 1 mS/cm = 1000 µS/cm = 0.1 S/m. A factor of 1000 between neighbours is a range change.
    assert 1000 * CONDUCTIVITY["µS/cm"] == pytest.approx(CONDUCTIVITY["mS/cm"])
    assert CONDUCTIVITY["mS/cm"] == 0.1 * CONDUCTIVITY["S/m"]


@pytest.mark.filterwarnings("error")  # a warning of numpy would be a second answer
@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: brix_to_index(1.3391e2), "out_of_range", "brix"),
        (lambda: index_to_brix(4.2), "out_of_range", "index"),
        (lambda: brix_correction(10, 35), "out_of_range", "temperature_c"),
        (lambda: brix_correction(40, 20), "out_of_range", "brix"),
        (lambda: linear_to_25(-1.0, 20), "out_of_range", "conductivity"),
        (lambda: linear_to_25(1.0, 20, 1.91), "out_of_range", "coefficient"),
        (lambda: linear_to_25(1.0, 72), "out_of_range", "temperature_c"),
        (lambda: natural_water_factor(36), "out_of_range", "temperature_c"),
        (lambda: effective_coefficient(1.0, 24.5, 1.0), "out_of_range", "temperature_c"),
        (lambda: at_temperature("brix", [1, 2], [1, 2, 3], 20), "shapes_differ", "temperature_c"),
        (lambda: water_moved(1.333, 1.333, 0, 0, 0), "flat_line", "slope"),
        (lambda: salinity_between(1.333, "sea"), "not_a_number", "saltier"),
        (lambda: at_temperature("density", 1.0, 20, 20), "unknown_choice", "method"),
        (
            lambda: at_temperature("conductivity", 1.0, 20, 25, compensation="no"),
            "unknown_choice",
            "compensation",
        ),
        (
            lambda: at_temperature("conductivity", 1.0, 20, 39, compensation="natural water"),
            "out_of_range",
            "to_c",
        ),
        (lambda: at_temperature("conductivity", -1.0, 20, 25), "out_of_range", "reading"),
        (lambda: at_temperature("conductivity", 1.7e308, 20, 25), "beyond_numbers", "reading"),
        (lambda: linear_to_25([1.0, 1.7e308], 20), "beyond_numbers", "conductivity"),
        (lambda: at_temperature("brix", 1.0, 20, 41), "out_of_range", "to_c"),
        (lambda: at_temperature("brix", float("inf"), 20, 20), "not_finite", "reading"),
    ],
)
def test_impossible_reading_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; " in str(refused.value)
