"""The interval of a result: scatter learnt from the bench over a prior from the instrument.

Readings are few and rounded, so that the scatter about the line is often small by luck. The stated
repeatability is therefore taken as a first, cautious guess of the scatter, which the residuals and
the repeated readings correct; the step of the display is added in full. What is left unknown is
one standard deviation and one number of degrees of freedom a result, so that a hundred thousand
tests cost little more than one.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.inverse import read_off
from calc.line import Line
from calc.student import LEAST_DOF, MOST_DOF
from calc.sums import ordered_sum

# Prior of the scatter: log-normal about a multiple of the repeatability. Own choice, found by
# simulation so that the interval covers also when half is stated; see DEVELOPERS.md.
CAUTION = 1.3  # -, times the stated repeatability; own choice
LOG_SD = 0.7  # -, of the logarithm of the scatter; own choice
NODES = np.linspace(-2.5, 6.0, 33)  # of the prior's standard normal; its tail for gross scatter
SQUARES = np.exp(2 * LOG_SD * NODES)  # squared multiples of the guess
LOG_PRIOR = -NODES * NODES / 2  # -, logarithm of the density at the nodes, constant apart
MOST_REPEATS = 40.0  # degrees of freedom of repeated readings that count, own choice: a day's
# repeats do not tell the scatter of the next hour better than to about a tenth

COVERAGE_FACTOR = 2.0  # standard deviations to each side, the usual factor of JCGM 100, 6.3.3

# Repeatability taken where none is stated, unit of the reading; common practice, no source.
UNSTATED = {"refractive_index": 6e-5, "brix": 0.04}
UNSTATED_SHARE = 0.01  # of the reading, for conductivity; common practice, no source


@dataclass(frozen=True, slots=True)
class Bottles:
    """What stands behind the points of a line, and the meter that read them."""

    percent: Any  # %, shape (n, *batch)
    u_percent: Any  # %, how well the mixture was made, shape (n, *batch)
    readings: Any  # count in each bottle, shape (n, *batch)
    guess: Any  # first guess of the scatter of one reading, unit of the reading, shape (*batch)
    resolution: Any  # unit of the reading, shape (*batch)


@dataclass(frozen=True, slots=True)
class Scatter:
    """Squared scatter over the squared guess, after the bench; arrays of shape (*batch)."""

    mean: Any
    variance: Any


@dataclass(frozen=True, slots=True)
class Estimate:
    """A percent read off a line; arrays of one shape, % by volume."""

    percent: Any
    u_percent: Any  # standard deviation of what is known of it
    degrees_of_freedom: Any  # even, 4 to 20, of Student's t with that standard deviation
    low: Any  # two-sided 95 %
    high: Any


def guessed_sd(method: str, resolution: float, repeatability: float | None, level: Any) -> Any:
    """First guess of the standard deviation of one reading, rounding apart.

    Parameters
    ----------
    method : str, refractive_index, brix or conductivity.
    resolution : float, > 0. Smallest step of the display, unit of the reading.
    repeatability : float, > 0, or None. Stated standard deviation of one reading, same unit.
    level : array_like, about what the instrument shows on this bench, same unit.

    Returns
    -------
    Standard deviation, unit of the reading.

    Notes: 1.3 times the stated one. Without one, 1.5 times the larger of half a step and what
    crews find with such an instrument. The scatter of a conductivity meter goes with what it
    shows: two steps, or 1 % of the level.
    Source: own choice by simulation; DEVELOPERS.md. Check: python -m tests.perf.coverage.
    """
    if repeatability is not None:
        return CAUTION * repeatability
    if method == "conductivity":
        return 1.5 * np.maximum(2 * resolution, UNSTATED_SHARE * np.abs(level))
    return 1.5 * max(resolution / 2, UNSTATED[method])


def learn_scatter(
    squares: Any, dof: Any, share: Any, known: Any, within_squares: Any, within_dof: Any
) -> Scatter:
    """What residuals and repeated readings say about the guess of the scatter.

    Parameters
    ----------
    squares : array_like, shape (*batch), >= 0. Sum of squared residuals over the squared guess.
    dof : array_like, >= 1. Degrees of freedom of that sum.
    share : array_like, > 0. Mean variance of a residual for a scatter equal to the guess, over the
        squared guess: 1 for bottles read once.
    known : array_like, >= 0. Mean variance that the standards' own error gives a residual, over
        the squared guess.
    within_squares, within_dof : array_like, >= 0. The same sums for readings about their bottles.

    Returns
    -------
    Scatter, shape (*batch).

    Notes: posterior over λ, scatter = λ × guess, ln λ normal with standard deviation 0.7, times
    the chi-squared likelihood of both sums, by quadrature on fixed nodes. Rounding is not taken out
    of the residuals: that would make a coarse display look better than it is.
    Source: JCGM 101:2008, 6.4.9 with a prior for the variance (clause from memory); Gelman et
    al., Bayesian Data Analysis, on normal data with an informative variance prior (from memory).
    Check: tests/calc/test_interval.py against adaptive quadrature; coverage by simulation.
    """
    shape = np.broadcast_shapes(*map(np.shape, (squares, dof, share, known, within_dof)))
    column = (-1,) + (1,) * len(shape)
    multiple, prior = SQUARES.reshape(column), LOG_PRIOR.reshape(column)
    expected = multiple * share + known
    log = prior - within_dof * np.log(multiple) / 2 - within_squares / (2 * multiple)
    log = log - (dof * np.log(expected) + squares / expected) / 2
    weight = np.exp(log - np.max(log, axis=0))
    total = ordered_sum(weight)
    mean = ordered_sum(weight * multiple) / total
    return Scatter(mean, ordered_sum(weight * (multiple - mean) ** 2) / total)


def bench_scatter(line: Line, fit: Bottles, within_squares: Any, within_dof: Any) -> Scatter:
    """`learn_scatter` from a line through bottles and from the readings about their bottles.

    Parameters
    ----------
    line : Line, arrays of shape (*batch).
    fit : Bottles of the same points.
    within_squares, within_dof : array_like, shape (*batch). Readings about the mean of their
        bottle, summed over all bottles, over the squared guess.

    Returns
    -------
    Scatter, shape (*batch).

    Notes: with leverages h and weights w the residual sum of squares is Σ w (1 - h) variance on
    average, for any variances of the points. More than 40 degrees of freedom of repeats count as
    40 with the same mean square.
    Source: the residual maker is a projection, in the metric of the weights. Check:
    tests/calc/test_interval.py, by simulation.
    """
    dof = line.degrees_of_freedom
    left = line.weight * (1 - line.leverage(fit.percent))
    counted = np.minimum(1.0, MOST_REPEATS / np.maximum(within_dof, 1.0))
    return learn_scatter(
        squares=dof * (line.residual_sd / fit.guess) ** 2,
        dof=dof,
        share=ordered_sum(left / fit.readings) / dof,
        known=ordered_sum(left * _made(line, fit)) / dof,
        within_squares=counted * within_squares,
        within_dof=counted * within_dof,
    )


def even_dof(mean: Any, variance: Any) -> Any:
    """Degrees of freedom of Student's t that stands for a normal of uncertain variance.

    Parameters
    ----------
    mean, variance : array_like, > 0 and >= 0. Of the squared standard deviation.

    Returns
    -------
    Even whole numbers from 4 to 20.

    Notes: equal fourth moments ask for 4 + 2 mean²/variance. Taken down to an even number, as GUM
    takes down to a whole one, the distribution is a short sum; from 20 on it is nearly normal.
    Source: moments of Student's t; the same idea as Welch-Satterthwaite, JCGM 100:2008, G.4.1.
    Check: tests/calc/test_interval.py.
    """
    with np.errstate(all="ignore"):  # a variance of 0 means degrees of freedom without end
        half = LEAST_DOF / 2 + np.square(mean) / variance
    return 2 * np.floor(np.fmin(half, MOST_DOF / 2))


def honest_read_off(
    line: Line,
    fit: Bottles,
    scatter: Scatter,
    reading: Any,
    bottles: Any,
    share: Any,
    beside: Any = 0.0,
) -> Estimate:
    """Percent at a reading, with an interval that holds for few and rounded readings.

    Parameters
    ----------
    line, fit, scatter : of the same bench, shape (*batch).
    reading : array_like, shape (k, *batch). Mean of the bottle means of each result.
    bottles : array_like, shape of reading, >= 1. How many bottles that mean is taken over.
    share : array_like, shape of reading. Variance of that mean over that of one reading: one over
        the readings of a single bottle.
    beside : array_like, shape of reading, >= 0. Variance of that mean from any other cause,
        reading².

    Returns
    -------
    Estimate, shape of reading; low and high bound the two-sided 95 % interval.

    Notes: with pull c_i = w_i (1/n + (x - x̄)(x_i - x̄)/Sxx) of each point, the squared uncertainty
    over slope² is scatter × (share + Σ c_i²/readings_i), plus step²/12 × (1 + Σ c_i²), plus
    Σ c_i² of what the standards were made to; never below the textbook's with the residual
    scatter. The step is not taken to average out over readings or bottles of one liquid, which a
    quiet meter shows alike. Twice the standard deviation covers 95 % of every Student's t from 4
    degrees of freedom up, so that a worse meter never gives a narrower interval.
    Source: JCGM 100:2008, 5.1.2, 6.3.3 and F.2.2.1; Willink, Metrologia 44 (2007) 73, on means of
    rounded readings. Check: tests/calc/test_interval.py; python -m tests.perf.coverage.
    """
    plain = read_off(line, reading, bottles, line.residual_sd)
    away = plain.percent - line.percent_mean
    there = line.weight / line.points
    aside = _pull_on_slope(line, fit)

    def summed(by: Any) -> Any:
        """Σ c² by, a parabola in the distance from the middle of the line."""
        square, cross = ordered_sum(aside * aside * by), 2 * ordered_sum(there * aside * by)
        return (square * away + cross) * away + ordered_sum(there * there * by)

    guess2 = np.square(fit.guess)
    step = np.square(fit.resolution / fit.guess) / 12
    by_scatter = share + summed(1 / fit.readings)
    mean = scatter.mean * by_scatter + summed(step + _made(line, fit)) + step + beside / guess2
    least = np.square(plain.u_percent * line.slope / fit.guess)
    u_percent = np.sqrt(np.maximum(mean, least)) * (fit.guess / np.abs(line.slope))
    expanded = COVERAGE_FACTOR * u_percent
    return Estimate(
        percent=plain.percent,
        u_percent=u_percent,
        degrees_of_freedom=even_dof(mean, scatter.variance * by_scatter * by_scatter),
        low=plain.percent - expanded,
        high=plain.percent + expanded,
    )


def slope_uncertainty(line: Line, fit: Bottles, scatter: Scatter) -> Any:
    """Standard uncertainty of the slope by the same budget.

    Parameters
    ----------
    line, fit, scatter : of the same bench, shape (*batch).

    Returns
    -------
    u in readings per %, shape (*batch).

    Notes: the pull of a point on the slope is w_i (x_i - x̄)/Sxx.
    Source: JCGM 100:2008, 5.1.2. Check: tests/calc/test_interval.py.
    """
    pull2 = np.square(_pull_on_slope(line, fit))
    step = np.square(fit.resolution / fit.guess) / 12
    by_scatter = ordered_sum(pull2 / fit.readings)
    mean = scatter.mean * by_scatter + ordered_sum(pull2 * (step + _made(line, fit)))
    return np.sqrt(mean) * fit.guess


def _pull_on_slope(line: Line, fit: Bottles) -> Any:
    return line.weight * (fit.percent - line.percent_mean) / line.percent_spread


def _made(line: Line, fit: Bottles) -> Any:
    """Variance of a reading from what its mixture was made to, over the squared guess."""
    return np.square(fit.u_percent * line.slope / fit.guess)
