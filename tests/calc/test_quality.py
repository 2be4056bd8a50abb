"""Foam quality. Published values stand in published/test_foam.py; other figures are invented."""

import numpy as np
import pytest

from calc.errors import CalcError
from calc.quality import (
    drain_time,
    expansion,
    expansion_by_weight,
    foam_class,
    quarter_volume,
    simulated_sea_water,
    u_expansion,
)


def test_weighing_and_measuring_agree():
    assert expansion_by_weight(1.6e-3, 0.5, 0.7) == pytest.approx(expansion(1600, 200))
    assert expansion_by_weight([1.6e-3, 3.2e-3], 0.5, 0.7) == pytest.approx([8, 16])


def test_denser_solution_counts_as_less_liquid():
    fresh, salt = (expansion_by_weight(1.6e-3, 0.5, 0.7, density) for density in (1000, 1025))
    assert salt / fresh == pytest.approx(1.025)


def test_uncertain_mass_adds_to_the_uncertain_vessel():
    vessel_only = u_expansion(8.0, 1.6e-3, 16e-6, 0.2)
    both = u_expansion(8.0, 1.6e-3, 16e-6, 0.2, 0.001)
    assert both == pytest.approx(np.hypot(vessel_only, 8 * 0.005))


def test_drain_time_lies_between_its_two_marks():
    assert drain_time([0, 1, 2, 4], [0, 10, 30, 50], 100) == pytest.approx(1.75)
    assert drain_time([0, 1, 2, 4], [0, 10, 25, 50], 100) == 2.0
    assert drain_time([0.5, 1], [25, 30], 100) == 0.5


def test_flat_stretch_of_the_curve_takes_its_first_mark():
    assert drain_time([0, 1, 2, 3], [0, 25, 25, 40], 100) == 1.0


def test_unit_of_the_volume_does_not_matter():
    t, v = [0, 1, 2, 3], np.array([0, 18, 31, 40])
    assert drain_time(t, v, 100) == pytest.approx(drain_time(t, v * 1e-6, 100e-6), rel=1e-14)


def test_curve_that_stops_early_is_not_carried_on():
    with pytest.raises(CalcError) as refused:
        drain_time([0, 1, 2], [0, 10, 20], 100)
    assert refused.value.code == "not_drained"
    assert "25" in str(refused.value)
    assert "go on" in str(refused.value)


def test_quarter_is_a_quarter():
    assert quarter_volume([10, 180]) == pytest.approx([2.5, 45])


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: expansion(5, 10), "out_of_range", "foam_volume"),
        (lambda: expansion(75, 0), "out_of_range", "liquid_volume"),
        (lambda: expansion_by_weight(1e-3, 0.5, 0.5), "out_of_range", "full_mass"),
        (lambda: foam_class(0.5), "out_of_range", "ratio"),
        (lambda: drain_time([0, 1], [0, 1, 2], 4), "shapes_differ", "drained"),
        (lambda: drain_time([0], [0], 4), "too_few_points", "minutes"),
        (lambda: drain_time([0, 2, 1], [0, 1, 2], 4), "out_of_range", "minutes"),
        (lambda: drain_time([0, 1, 2], [0, 2, 1], 4), "out_of_range", "drained"),
        (lambda: drain_time([0, 1], [2, 3], 4), "not_drained", "drained"),
    ],
)
def test_impossible_foam_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; " in str(refused.value)


def test_simulated_sea_water_is_as_salty_as_the_sea():
    # 35 g/kg. Molar masses with and without water of crystals: IUPAC weights, from memory.
    parts = simulated_sea_water(10)
    dry = {"MgCl2·6H2O": 95.211 / 203.303, "CaCl2·2H2O": 110.984 / 147.015}
    salt = sum(dry.get(part, 1) * kg for part, kg in parts.items() if part != "water")
    assert 1000 * salt / 10 == pytest.approx(35, abs=0.5)


def test_no_sea_water_at_all_is_refused():
    with pytest.raises(CalcError) as refused:
        simulated_sea_water(0)
    assert (refused.value.code, refused.value.where) == ("out_of_range", "mass")
