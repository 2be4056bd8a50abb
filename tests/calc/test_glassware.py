"""Tolerances of the tools of the bench. Tables stand in published/, with their sources."""

import math

import pytest

from calc.errors import CalcError
from calc.glassware import (
    DIVISOR,
    FROM_MEMORY,
    TABLES,
    own_tolerance,
    syringe_tolerance,
    tolerance,
    u_of_temperature,
    u_volume,
    u_weighed,
)


def test_flask_of_the_guide_has_its_standard_uncertainty():
    # Eurachem QUAM, example A1: 100 mL ± 0.1 mL, triangular, is 0.04 mL.
    flask = tolerance("one-mark flask, class A", 100e-6)
    assert flask.half_width == pytest.approx(0.1e-6)
    assert u_volume(flask) == pytest.approx(0.04e-6, abs=0.001e-6)


def test_temperature_of_the_guide_has_its_standard_uncertainty():
    # Eurachem QUAM, example A1: 100 mL within ± 4 °C is 0.05 mL; with flask and filling 0.07 mL.
    thermal = u_of_temperature(100.0, 4.0)
    assert thermal == pytest.approx(0.05, abs=0.002)
    assert math.hypot(thermal, 0.04, 0.02) == pytest.approx(0.07, abs=0.005)


def test_rectangular_is_wider_than_triangular():
    wide, narrow = own_tolerance(1e-6), own_tolerance(1e-6, distribution="triangular")
    assert u_volume(wide) == pytest.approx(1e-6 / math.sqrt(3))
    assert u_volume(narrow) == pytest.approx(1e-6 / math.sqrt(6))


def test_same_tool_errs_the_same_way_each_time():
    tool = own_tolerance(3e-8, random_sd=1e-8)
    assert u_volume(tool, 4) == pytest.approx(
        math.hypot(4 * 3e-8 / math.sqrt(3), 2 * 1e-8), rel=1e-12
    )


def test_pipette_has_both_parts_of_its_error():
    pipette = tolerance("piston pipette, positive displacement", 1e-6)
    assert pipette.half_width == pytest.approx(0.012e-6)
    assert pipette.random_sd == pytest.approx(0.004e-6)


def test_weighing_takes_two_readings():
    assert u_weighed(0.01) == pytest.approx(math.sqrt(2) * 0.01 / math.sqrt(12))
    assert u_weighed(0.01, 0.03) > 0.03 / math.sqrt(3)


def test_every_table_says_where_it_is_from_and_how_its_errors_lie():
    for kind, table in TABLES.items():
        assert table.source.startswith("ISO "), kind
        assert table.confidence in (FROM_MEMORY, "looked up second-hand")
        assert table.distribution in DIVISOR
        assert all(limit > 0 for limit in table.limits.values())
        assert set(table.random) in (set(), set(table.limits))


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: tolerance("bucket", 1e-4), "unknown_choice", "kind"),
        (lambda: tolerance("one-mark flask, class A", 300e-6), "not_in_table", "nominal"),
        (lambda: syringe_tolerance(10e-6, 4e-6), "out_of_range", "expelled"),
        (lambda: syringe_tolerance(10e-6, 11e-6), "out_of_range", "expelled"),
        (lambda: own_tolerance(-1e-6), "out_of_range", "half_width"),
        (lambda: own_tolerance(1e-6, 0, "normal"), "unknown_choice", "distribution"),
        (lambda: u_volume(own_tolerance(1e-6), 0), "out_of_range", "deliveries"),
        (lambda: u_weighed(0), "out_of_range", "resolution"),
    ],
)
def test_impossible_tool_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; give " in str(refused.value)
