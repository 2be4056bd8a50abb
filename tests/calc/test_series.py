"""Polynomials for a device, held against the functions that they stand for.

The water index itself is held against IAPWS R9-97 in check-values.json B-02, B-03 and B-08, the
Brix scale against the ICUMSA table in B-04; here only that nothing is lost on the way.
"""

import numpy as np
import pytest

from calc.readings import at_temperature, brix_to_index, index_to_brix
from calc.series import BRIX_RANGE, Series, correction, series_of, water_density_series
from calc.water import water_density, water_index

ENDS = {"water_index": (0.0, 40.0), "brix_to_index": BRIX_RANGE}


@pytest.mark.parametrize(
    ("name", "function", "dust"),
    [("water_index", water_index, 1e-13), ("brix_to_index", brix_to_index, 1e-13),
     ("index_to_brix", index_to_brix, 1e-10)],
)  # fmt: skip
def test_series_is_the_function_over_its_whole_range(name, function, dust):
    """Between the points of the interpolation too; 1e-10 % Brix is 1e-13 of index."""
    series = Series(**correction("brix")[name])
    values = np.linspace(series.low, series.high, 4001)
    assert np.abs(series.at(values) - function(values)).max() < dust


@pytest.mark.parametrize("t", [4.0, 12.35, 31.0])
def test_correction_of_an_index_is_that_of_the_engine(t):
    series = Series(**correction("refractive_index")["water_index"])
    ours = 1.33412 + series.at(20.3) - series.at(t)
    assert ours == pytest.approx(
        float(at_temperature("refractive_index", 1.33412, t, 20.3).reading), abs=1e-13
    )


def test_conductivity_needs_the_coefficient_alone():
    assert correction("conductivity") == {"method": "conductivity", "per_k": 0.0191}


def test_density_of_water_is_that_of_its_equation_over_the_whole_range():
    # 998.207 kg/m³ at 20 °C: Tanaka et al. 2001, check value D-01.
    series = Series(**water_density_series())
    values = np.linspace(series.low, series.high, 4001)
    assert np.abs(series.at(values) - water_density(values)).max() < 1e-9
    assert float(series.at(20.0)) == pytest.approx(998.207, abs=0.001)


def test_a_function_that_no_short_polynomial_follows_shows():
    """The frame of the others: a kink in the middle is not followed."""
    series = series_of(abs, -1.0, 1.0)
    assert abs(float(series.at(0.05) - 0.05)) > 1e-3
