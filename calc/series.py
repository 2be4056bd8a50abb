"""Smooth functions of this package as short polynomials, for a device that computes without it.

A phone with no signal corrects readings by these and holds no physics of its own: the functions
stay in their modules, and what it gets follows from them.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial

from calc.readings import LINEAR_COEFFICIENT, brix_to_index, index_to_brix
from calc.water import COLDEST, WARMEST, water_density, water_index

TERMS = 15  # own choice: nothing is left of the difference but the dust of doubles
BRIX_RANGE = (-5.0, 30.0)  # %, own choice: water and mixtures, far below any undiluted concentrate


@dataclass(frozen=True, slots=True)
class Series:
    """Sum of terms[k] xᵏ, x = (2 v - low - high)/(high - low), for v from low to high."""

    low: float
    high: float
    terms: tuple[float, ...]

    def at(self, value: Any) -> Any:
        """What a device makes of it; unit and shape as those of the function.

        Source: Horner's rule. Check: tests/calc/test_series.py.
        """
        x = (2 * np.asarray(value) - self.low - self.high) / (self.high - self.low)
        total = 0.0 * x
        for term in reversed(self.terms):
            total = total * x + term
        return total


def series_of(function: Callable[[Any], Any], low: float, high: float) -> Series:
    """A function of one value from low to high, interpolated at the Chebyshev points.

    Source: Chebyshev interpolation, by numpy. Check: tests/calc/test_series.py.
    """
    found = Chebyshev.interpolate(
        lambda v: function(np.asarray(v)), TERMS - 1, domain=[low, high]
    ).convert(kind=Polynomial, domain=[low, high], window=[-1, 1])
    return Series(low, high, tuple(float(term) for term in found.coef))


@cache
def water_density_series() -> dict[str, Any]:
    """The density of fresh water in kg/m³ over °C, as a device needs it for weighed standards.

    Source: calc.water.water_density. Check: tests/calc/test_series.py.
    """
    return asdict(series_of(water_density, COLDEST, WARMEST))


@cache
def correction(method: str) -> dict[str, Any]:
    """What a device needs to correct a reading of a method as `calc.readings.at_temperature` does.

    Parameters
    ----------
    method : str. "refractive_index", "brix" or "conductivity".

    Returns
    -------
    Plain data. Index: series of the water index in °C. Brix: besides it, the scale in both
    directions. Conductivity: the share per K about 25 °C.

    Source: calc.readings.at_temperature. Check: tests/calc/test_series.py, and in the browser every
    frozen case.
    """
    if method == "conductivity":
        return {"method": method, "per_k": LINEAR_COEFFICIENT}
    found: dict[str, Any] = {
        "method": method,
        "water_index": asdict(series_of(water_index, COLDEST, WARMEST)),
    }
    if method == "brix":
        low, high = (float(brix_to_index(end)) for end in BRIX_RANGE)
        found["brix_to_index"] = asdict(series_of(brix_to_index, *BRIX_RANGE))
        found["index_to_brix"] = asdict(series_of(index_to_brix, low, high))
    return found
