"""The second way to know the slope: water and undiluted concentrate, without any standard.

A line through standards only says that the dilutions were in proportion. Whether they were right,
and made from the liquid that stands in the tank, shows against the two pure liquids.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.acceptance import Band, limits
from calc.arguments import not_negative, numbers, one_shape, positive
from calc.errors import CalcError
from calc.measured import Measured, Part, effective_degrees_of_freedom, measured
from calc.student import coverage_factor

AGREE, STEEPER, FLATTER = "agree", "standards too strong", "standards too weak"


@dataclass(frozen=True, slots=True)
class MixingLine:
    """Straight line from water (0 %) to undiluted concentrate (100 %); arrays of one shape."""

    water: Any  # reading
    concentrate: Any  # reading
    u_water: Any
    u_concentrate: Any

    @property
    def slope(self) -> Any:
        """Reading per %, (concentrate - water)/100.

        Source: volumes taken as additive, the index linear in the share by volume (Arago and Biot
        mixing rule, from memory). Check: tests/calc/test_mixing.py.
        """
        return (self.concentrate - self.water) / 100

    @property
    def u_slope(self) -> Any:
        """Standard uncertainty of the slope, reading per %.

        Source: JCGM 100:2008, 5.1.2. Check: tests/calc/test_mixing.py.
        """
        return np.hypot(self.u_concentrate, self.u_water) / 100


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """Slope of the calibration against the slope by mixing; arrays of one shape."""

    verdict: Any  # agree | standards too strong | standards too weak
    ratio: Any  # calibration over mixing
    u_ratio: Any
    degrees_of_freedom: Any
    largest: Any  # ratio - 1 that still agrees, either way


@dataclass(frozen=True, slots=True)
class Dilution:
    """How much of the concentrate in the tank is concentrate still; shares of 1."""

    share_left: float
    u_share_left: float
    low: float  # two-sided 95 %
    high: float


def mixing_line(water: Any, concentrate: Any, u_water: Any, u_concentrate: Any) -> MixingLine:
    """Line through the two pure liquids of the bench.

    Parameters
    ----------
    water, concentrate : array_like, mean readings, one unit, at one temperature.
    u_water, u_concentrate : array_like, > 0, standard uncertainties, same unit.

    Returns
    -------
    MixingLine, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, flat_line, shapes_differ.
    Notes: take the concentrate's reading with care: thick liquids read badly, and an index above
    the scale of the instrument is no reading. Conductivity is not linear up to 100 %.
    Source: NFPA 11 annex, refractive index method (from memory). Check: tests/calc/test_mixing.py.
    """
    one_shape("concentrate", water, concentrate, u_water, u_concentrate)
    low, high = numbers("water", water), numbers("concentrate", concentrate)
    if np.any(low == high):
        raise CalcError("flat_line", "concentrate")
    return MixingLine(
        water=low,
        concentrate=high,
        u_water=positive("u_water", u_water),
        u_concentrate=positive("u_concentrate", u_concentrate),
    )


def by_mixing(line: MixingLine, reading: Any, u_reading: Any) -> Measured:
    """Percent of a sample from water and undiluted concentrate alone.

    Parameters
    ----------
    line : MixingLine.
    reading : array_like, mean reading of the sample, unit of the line.
    u_reading : array_like, >= 0, same unit.

    Returns
    -------
    Measured, broadcast shape, with infinite degrees of freedom.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: p = (y - water)/slope. Sensitivities over the slope: 1 for y, 1 - p/100 for the water,
    p/100 for the concentrate, so that a poor reading of the concentrate costs little.
    Source: JCGM 100:2008, 5.1.2, on the mixing rule. Check: tests/calc/test_mixing.py.
    """
    one_shape("reading", line.slope, reading, u_reading)
    y, slope = numbers("reading", reading), line.slope
    percent = (y - line.water) / slope
    steep, share = np.abs(slope), percent / 100
    return measured(
        percent,
        [
            Part("sample", not_negative("u_reading", u_reading) / steep),
            Part("water", np.abs(1 - share) * line.u_water / steep),
            Part("undiluted concentrate", np.abs(share) * line.u_concentrate / steep),
        ],
    )


def cross_check(line: MixingLine, slope: Any, u_slope: Any, dof: Any) -> CrossCheck:
    """Whether calibration and mixing tell the same slope, within the uncertainty of both.

    Parameters
    ----------
    line : MixingLine.
    slope : array_like, not 0. Slope of the calibration, reading per %.
    u_slope : array_like, >= 0, same unit, with dof degrees of freedom.
    dof : array_like, > 0, infinity allowed.

    Returns
    -------
    CrossCheck, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: they agree while the difference stays within the 95 % interval of a difference. Standards
    too strong: made from a stronger liquid than the undiluted bottle, as when drum and diluted
    tank are mixed up, or with too little water. Too weak: liquid left in the pipette, or 3 added
    to 100. A perfect line shows neither.
    Source: JCGM 100:2008, 5.1.2 and G.4. Check: tests/calc/test_mixing.py.
    """
    one_shape("slope", line.slope, slope, u_slope, dof)
    by_standards, u_standards = numbers("slope", slope), not_negative("u_slope", u_slope)
    mixing = line.slope
    ratio = by_standards / mixing
    parts = [u_standards / np.abs(mixing), np.abs(ratio) * line.u_slope / np.abs(mixing)]
    u_ratio = np.hypot(*parts)
    freedom = effective_degrees_of_freedom(parts, [dof, np.inf])
    largest = coverage_factor(freedom) * u_ratio
    off = ratio - 1
    verdict = np.where(np.abs(off) <= largest, AGREE, np.where(off > 0, STEEPER, FLATTER))
    return CrossCheck(verdict[()], ratio, u_ratio, freedom, largest)


def tank_dilution(check: CrossCheck) -> Dilution | None:
    """What the cross-check of one bench says about water in the tank, where it says anything.

    Parameters
    ----------
    check : CrossCheck of one bench: standards from an undiluted lot, the undiluted bottle from the
        tank.

    Returns
    -------
    Dilution when the standards come out too strong, else None. Standards and bottle from one
    diluted tank agree with each other and show nothing; then index and density are held against
    the certificate.

    Notes: share left = slope by mixing over slope of the calibration.
    Source: mixing rule, (n_tank - n_water)/(n_lot - n_water). Check: tests/calc/test_mixing.py.
    """
    if check.verdict != STEEPER:
        return None
    share, u_share = 1 / check.ratio, check.u_ratio / check.ratio**2
    expanded = coverage_factor(check.degrees_of_freedom) * u_share
    return Dilution(float(share), float(u_share), float(share - expanded), float(share + expanded))


def reverses(percent: float, percent_by_mixing: float, allowed: Band) -> bool:
    """Whether the second way puts the sample on another side of the band than the line does.

    Source: limits as in calc.acceptance, by the plain values. Check: tests/calc/test_mixing.py.
    """
    return limits(percent, allowed) != limits(percent_by_mixing, allowed)


def steps_in_band(line: MixingLine, resolution: Any, allowed: Band) -> Any:
    """Into how many steps of its display an instrument divides the acceptance band.

    Known before the first standard is made, so that a coarse instrument stays at home.

    Parameters
    ----------
    line : MixingLine.
    resolution : array_like, > 0, unit of the readings.
    allowed : Band.

    Returns
    -------
    Number of steps, broadcast shape; with fewer than three the band cannot be told from its edges.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Source: definition of resolution; the three are common practice, no published source. Check:
    tests/calc/test_mixing.py.
    """
    one_shape("resolution", line.slope, resolution)
    width = float(allowed.upper - allowed.lower)
    return width * np.abs(line.slope) / positive("resolution", resolution)
