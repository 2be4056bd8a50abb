"""Reading a sample off the calibration line, with its uncertainty."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.line import Line
from calc.student import coverage_factor


@dataclass(frozen=True, slots=True)
class Estimate:
    """A percent read off a line; arrays of one shape, % by volume."""

    percent: Any
    u_percent: Any
    degrees_of_freedom: int
    low: Any  # two-sided 95 %
    high: Any


def instrument_sd(resolution: float, repeatability: float | None) -> float:
    """Standard deviation that one reading has from the instrument alone.

    Parameters
    ----------
    resolution : float, > 0. Smallest step of the display, unit of the reading.
    repeatability : float, > 0, or None. Stated standard deviation of one reading, same unit.

    Returns
    -------
    Standard deviation, unit of the reading.

    Notes: √(resolution²/12 + repeatability²); a rounded display is uniform over one step.
    Source: JCGM 100:2008, F.2.2.1. Check: tests/calc/test_inverse.py.
    """
    return math.hypot(resolution / math.sqrt(12), repeatability or 0.0)


def read_off(line: Line, reading: Any, bottles: Any, sd: Any) -> Estimate:
    """Percent at a reading, with standard uncertainty and 95 % interval.

    Parameters
    ----------
    line : Line, arrays of shape (*batch), slope not 0.
    reading : array_like, shape (k, *batch) or scalar. Mean of the bottle means of each result.
    bottles : array_like, broadcasts to reading, >= 1. How many bottles that mean is taken over.
    sd : array_like, shape (*batch), > 0. Standard deviation of one bottle mean.

    Returns
    -------
    Estimate, shape of reading; low and high bound the two-sided 95 % Student interval.

    Notes: x = (y - intercept)/slope, u = sd/|slope| √(1/m + 1/n + (x - x̄)²/Sxx), n - 2 degrees
    of freedom. Claims too much for coarsely rounded readings and few points; the percent itself
    does not depend on that.
    Source: Eurachem/CITAC QUAM, Example A5, equation E3.5. Check:
    fixtures/reference/check-values.json A-07, A-09, A-23.
    """
    percent = (reading - line.intercept) / line.slope
    off_centre = (percent - line.percent_mean) ** 2 / line.percent_spread
    u_percent = sd / np.abs(line.slope) * np.sqrt(1 / bottles + 1 / line.points + off_centre)
    expanded = coverage_factor(line.degrees_of_freedom) * u_percent
    return Estimate(
        percent=percent,
        u_percent=u_percent,
        degrees_of_freedom=line.degrees_of_freedom,
        low=percent - expanded,
        high=percent + expanded,
    )
