"""Water and air: where the published equations end, and the sizes the bench works with.

Published values stand in published/test_readings.py.
"""

import numpy as np
import pytest

from calc.errors import CalcError
from calc.water import (
    air_density,
    air_index,
    index_against_vacuum,
    volume_per_weight,
    water_density,
    water_index,
)


def test_index_of_water_falls_with_every_degree_from_1_on():
    fall = np.diff(water_index(np.linspace(1, 40, 391)))
    assert (fall < 0).all()


def test_scale_against_air_is_lower_than_against_vacuum():
    # Check values B-02: the two differ by 3.6e-4, more than two points of a 3 % concentrate.
    vacuum = index_against_vacuum(20.0, water_density(20.0))
    assert vacuum - water_index(20.0) == pytest.approx(3.63e-4, abs=1e-6)


def test_water_is_densest_near_4_degrees():
    t = np.linspace(0, 40, 4001)
    assert t[np.argmax(water_density(t))] == pytest.approx(3.98, abs=0.011)


def test_dry_air_is_denser_than_moist_air_of_the_same_pressure():
    assert air_density(20.0, humidity_percent=0) > air_density(20.0, humidity_percent=100)
    # OIML R 111-1: reference air is 1.2 kg/m³.
    assert air_density(20.0) == pytest.approx(1.2, abs=0.01)


def test_weighing_in_thinner_air_shows_a_little_more():
    # ISO 8655-6, table of Z (from memory): 1.0026 at 80 kPa and 20 °C, 1.0029 at 101.3 kPa.
    assert volume_per_weight(20.0, pressure=80e3) * 1000 == pytest.approx(1.0026, abs=1e-4)


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: water_index(-0.1), "out_of_range", "temperature_c"),
        (lambda: water_index([20.0, 72.0]), "out_of_range", "temperature_c"),
        (lambda: water_density(float("nan")), "not_finite", "temperature_c"),
        (lambda: water_density("warm"), "not_a_number", "temperature_c"),
        (lambda: index_against_vacuum(20, -1.0), "out_of_range", "density"),
        (lambda: index_against_vacuum(20, 998.2, 589.3), "out_of_range", "wavelength"),
        (lambda: air_index(20, 101.325), "out_of_range", "pressure"),
        (lambda: air_density(20, humidity_percent=101), "out_of_range", "humidity_percent"),
    ],
)
def test_argument_outside_the_equation_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; give " in str(refused.value)
