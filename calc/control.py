"""Whether an instrument is still what it was: its repeats within a day, one liquid over the years.

The limits come from a scatter that is known beforehand, not from the series itself, so they hold
from the first reading on. A series of yearly results of a system is judged by `calc.trend`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from calc.arguments import not_negative, numbers, positive, within
from calc.errors import CalcError

SIGMAS = 3.0  # usual choice of control charts: 3 in 1000 alarms while nothing is wrong
NEWEST = 0.3  # share of the newest reading in the weighted mean, NIST/SEMATECH e-Handbook 6.3.2.4
MOST_IN_GROUP = 25  # readings, own choice: as far as the tables of the factors go
WIDEST = 12.0  # standard deviations, own choice: no range is wider
TAIL = 8.0  # standard deviations, own choice: beyond it nothing is left of the normal density
STEP = 0.05  # standard deviations, own choice: the trapezoidal rule has all digits there


@dataclass(frozen=True, slots=True)
class RangeFactors:
    """What the range of a group of normal readings says of their scatter; no units."""

    d2: float  # mean of the range over the standard deviation
    d3: float  # standard deviation of the range over that of the readings
    c4: float  # mean of s over the standard deviation
    a2: float  # limits of the mean of a group, in mean ranges to each side
    lower: float  # lower limit of a range over the mean range, named D3 in the tables
    upper: float  # upper limit of a range over the mean range, named D4 in the tables


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Scatter of an instrument with what it rests on: the form's `repeatability_history`."""

    standard_deviation: float
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True)
class Watched:
    """A series held against its target; arrays of one shape."""

    weighted_mean: Any  # of all readings so far, the newest counting most
    low: Any
    high: Any
    beyond: Any  # True where the weighted mean lies outside


@cache
def range_factors(count: int) -> RangeFactors:
    """Factors of control charts by the range of small groups.

    Parameters
    ----------
    count : int, 2 to 25. Readings in each group.

    Returns
    -------
    RangeFactors; limits at three standard deviations.

    Raises: out_of_range.
    Notes: density of the range r is n (n - 1) ∫ φ(m - r/2) φ(m + r/2) [Φ(m + r/2) - Φ(m - r/2)]ⁿ⁻²
    dm; c4 = √(2/(n - 1)) Γ(n/2)/Γ((n - 1)/2); A2 = 3/(d2 √n); D3, D4 = 1 ∓ 3 d3/d2, not below 0.
    Source: ISO 7870-2, ASTM E2587 (definitions from memory). Check:
    fixtures/reference/check-values.json H-04, H-10.
    """
    if not 2 <= count <= MOST_IN_GROUP:
        want = f"a group of 2 to {MOST_IN_GROUP} readings"
        raise CalcError("out_of_range", "count", got=count, want=want)
    d2, square = _moments_of_range(count)
    d3 = math.sqrt(square - d2 * d2)
    halves = math.lgamma(count / 2) - math.lgamma((count - 1) / 2)
    return RangeFactors(
        d2=d2,
        d3=d3,
        c4=math.sqrt(2 / (count - 1)) * math.exp(halves),
        a2=SIGMAS / (d2 * math.sqrt(count)),
        lower=max(0.0, 1 - SIGMAS * d3 / d2),
        upper=1 + SIGMAS * d3 / d2,
    )


def _moments_of_range(count: int) -> tuple[float, float]:
    """Mean and mean square of the range of `count` standard normal numbers."""
    from scipy.special import ndtr  # slow to import, and only these factors need it

    nodes, weights = np.polynomial.legendre.leggauss(80)
    r, weight = (nodes + 1) * WIDEST / 2, weights * WIDEST / 2
    m = np.arange(-TAIL, TAIL + STEP, STEP)[:, None]
    densities = np.exp(-((m - r / 2) ** 2 + (m + r / 2) ** 2) / 2) / (2 * math.pi)
    between = (ndtr(m + r / 2) - ndtr(m - r / 2)) ** (count - 2)
    density = count * (count - 1) * STEP * np.sum(densities * between, axis=0)
    return float(np.sum(weight * density * r)), float(np.sum(weight * density * r * r))


def repeatability_from_ranges(ranges: Any, count: int) -> Repeatability:
    """Scatter of an instrument from field sheets that kept the lowest and the highest reading only.

    Parameters
    ----------
    ranges : array_like, >= 0, one a bottle, unit of the readings; at least one above 0.
    count : int, 2 to 25. Readings of each bottle.

    Returns
    -------
    Repeatability, in the unit of the readings.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: mean range over d2; k ranges are worth k d2²/(2 d3²) degrees of freedom, which gives the
    mean the relative variance that it has. A coarse display hides ranges below its step.
    Source: ISO 7870-2; degrees of freedom by JCGM 100:2008, E.4.3. Check:
    tests/calc/test_control.py.
    """
    listed = np.atleast_1d(not_negative("ranges", ranges))
    factors = range_factors(count)
    mean = float(positive("ranges", np.mean(listed)))
    worth = (factors.d2 / factors.d3) ** 2 / 2
    return Repeatability(mean / factors.d2, len(listed) * worth)


def repeatability_from_repeats(bottles: Sequence[Sequence[float]]) -> Repeatability:
    """Scatter of an instrument from repeated readings, each about the mean of its own bottle.

    Parameters
    ----------
    bottles : readings of each bottle, one unit, at one temperature within a bottle; at least one
        bottle with 2 readings. A bottle read once says nothing and is passed over.

    Returns
    -------
    Repeatability, in the unit of the readings. Zero where every repeat shows the same number: then
    the scatter hides below the step of the display.

    Raises: not_a_number, not_finite, too_few_points.
    Notes: s² = Σ Σ (y - ȳ)² / Σ (n - 1). Bottles of any strength pool, because it is the display
    and not the liquid that scatters.
    Source: JCGM 100:2008, 4.2.4 and H.3.6 (pooled variance). Check: tests/calc/test_control.py.
    """
    repeated = [
        [float(numbers("bottles", value)) for value in bottle]
        for bottle in bottles
        if len(bottle) > 1
    ]
    if not repeated:
        raise CalcError("too_few_points", "bottles", count=len(bottles), least=2)
    squares = []
    for values in repeated:
        mean = math.fsum(values) / len(values)
        squares += [(value - mean) ** 2 for value in values]
    freedom = sum(len(values) - 1 for values in repeated)
    return Repeatability(math.sqrt(math.fsum(squares) / freedom), float(freedom))


def watched(
    values: Any, target: float, sd: float, newest: float = NEWEST, sigmas: float = SIGMAS
) -> Watched:
    """Whether readings of one liquid wander from what that liquid must read.

    Parameters
    ----------
    values : array_like, at least 1, in the order of time. Pure water less its published index at
        the temperature, or a reference solution over its published conductivity.
    target : float, same unit. What the reading ought to be.
    sd : float, > 0, same unit. Scatter of one such reading while nothing is wrong.
    newest : float, 0.01 to 1. Share of the newest reading; 1 looks at each reading alone.
    sigmas : float, 1 to 6. Half-width of the limits in standard deviations of the weighted mean.

    Returns
    -------
    Watched. The limits widen from the first reading to their final width.

    Raises: not_a_number, not_finite, out_of_range, too_few_points.
    Notes: zᵢ = λ xᵢ + (1 - λ) zᵢ₋₁ from the target on; half-width L s √(λ/(2 - λ) (1 - (1 - λ)²ⁱ)).
    Source: NIST/SEMATECH e-Handbook 6.3.2.4; ISO 7870-6. Check:
    fixtures/reference/check-values.json H-05.
    """
    series = np.atleast_1d(numbers("values", values))
    if len(series) < 1:
        raise CalcError("too_few_points", "values", count=0, least=1)
    start, scatter = float(numbers("target", target)), float(positive("sd", sd))
    share = float(within("newest", newest, 0.01, 1, "0.01 to 1"))
    wide = float(within("sigmas", sigmas, 1, 6, "1 to 6 standard deviations"))
    means, mean = [], start
    for value in series.tolist():
        mean = share * value + (1 - share) * mean
        means.append(mean)
    found = np.array(means)
    grown = 1 - (1 - share) ** (2.0 * np.arange(1, len(series) + 1))
    half = wide * scatter * np.sqrt(share / (2 - share) * grown)
    return Watched(found, start - half, start + half, np.abs(found - start) > half)
