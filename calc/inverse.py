"""Reading a sample off the calibration line, by the textbook."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.line import Line


@dataclass(frozen=True, slots=True)
class ReadOff:
    """A percent read off a line; arrays of one shape, % by volume."""

    percent: Any
    u_percent: Any


def instrument_sd(resolution: Any, repeatability: Any) -> Any:
    """Standard deviation that one reading has from the instrument alone.

    Parameters
    ----------
    resolution : array_like, > 0. Smallest step of the display, unit of the reading.
    repeatability : array_like, >= 0, or None. Standard deviation of one reading, same unit.

    Returns
    -------
    Standard deviation, unit of the reading.

    Notes: √(resolution²/12 + repeatability²); a rounded display is uniform over one step.
    Source: JCGM 100:2008, F.2.2.1. Check: tests/calc/test_inverse.py.
    """
    return np.hypot(resolution / math.sqrt(12), 0.0 if repeatability is None else repeatability)


def reading_width(step: float, interpolated: bool) -> float:
    """Full width of the rectangle that has the standard deviation of reading an instrument once.

    Parameters
    ----------
    step : float, > 0. Step of the display; of a scale with marks the part of a division that is
        read between them, unit of the reading.
    interpolated : bool. Whether it is read between marks, by eye.

    Returns
    -------
    Unit of the reading; the standard deviation is this over √12.

    Notes: a display rounds, which is a rectangle of one step. An eye between two marks may be a
    whole part off to either side and is most often right: a triangle of half width step, whose
    standard deviation step/√6 is that of a rectangle of √2 steps. Halves, fifths or tenths of a
    division are common practice, no source.
    Source: JCGM 100:2008, 4.3.7 and 4.3.9. Check: tests/calc/test_inverse.py, against scipy.
    """
    return step * math.sqrt(2) if interpolated else step


def read_off(line: Line, reading: Any, bottles: Any, sd: Any) -> ReadOff:
    """Percent at a reading, with the standard uncertainty that a known scatter gives it.

    Parameters
    ----------
    line : Line, arrays of shape (*batch), slope not 0.
    reading : array_like, shape (k, *batch) or scalar. Mean of the bottle means of each result.
    bottles : array_like, broadcasts to reading, >= 1. How many bottles that mean is taken over.
    sd : array_like, shape (*batch), > 0. Standard deviation of one bottle mean.

    Returns
    -------
    ReadOff, shape of reading.

    Notes: x = (y - intercept)/slope, u = sd/|slope| √(1/m + 1/n + (x - x̄)²/Sxx). With the scatter
    of the residuals for sd it claims too much for few and coarsely rounded readings:
    `calc.interval` says what is added.
    Source: Eurachem/CITAC QUAM, Example A5, equation E3.5. Check:
    fixtures/reference/check-values.json A-07, A-09, A-23.
    """
    percent = (reading - line.intercept) / line.slope
    off_centre = (percent - line.percent_mean) ** 2 / line.percent_spread
    u_percent = sd / np.abs(line.slope) * np.sqrt(1 / bottles + 1 / line.points + off_centre)
    return ReadOff(percent, u_percent)
