"""The interval of a result: scatter learnt from the bench over a prior from the instrument.

Readings are few and rounded, so that the scatter about the line is often small by luck. The stated
repeatability is therefore taken as a first, cautious guess of the scatter, which the residuals and
the repeated readings of the bench correct; the step of the display is added in full.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.inverse import Estimate
from calc.line import Line
from calc.student import coverage_factor
from calc.sums import ordered_sum

# Prior of the scatter: log-normal about a multiple of the repeatability. Own choice, found by
# simulation so that the interval covers also when half is stated; see DEVELOPERS.md.
CAUTION = 1.3  # -, times the stated repeatability; own choice
LOG_SD = 0.7  # -, of the logarithm of the scatter; own choice
NODES = np.linspace(-2.5, 6.0, 33)  # of the prior's standard normal; its tail for gross scatter
SQUARES = np.exp(2 * LOG_SD * NODES)  # squared multiples of the guess
LOG_PRIOR = -NODES * NODES / 2  # -, logarithm of the density at the nodes, constant apart
MOST_DOF = 1e6  # own choice: beyond it Student is normal

# Repeatability taken where none is stated, unit of the reading; common practice, no source.
UNSTATED = {"refractive_index": 5e-5, "brix": 0.035, "conductivity": 0.0}


@dataclass(frozen=True, slots=True)
class Scatter:
    """Squared scatter over the squared guess, after the bench; arrays of shape (*batch)."""

    mean: Any
    variance: Any


def guessed_sd(method: str, resolution: float, repeatability: float | None) -> float:
    """First guess of the standard deviation of one reading, rounding apart.

    Parameters
    ----------
    method : str, refractive_index, brix or conductivity.
    resolution : float, > 0. Smallest step of the display, unit of the reading.
    repeatability : float, > 0, or None. Stated standard deviation of one reading, same unit.

    Returns
    -------
    Standard deviation, unit of the reading.

    Notes: 1.3 times the stated one. Without one, 1.5 times the larger of half a step and what
    crews find with such an instrument; conductivity meters differ too much and get three steps.
    """
    if repeatability is not None:
        return CAUTION * repeatability
    if method == "conductivity":
        return 3 * resolution
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
    multiple = SQUARES.reshape(column)
    expected = multiple * share + known
    log = LOG_PRIOR.reshape(column) - (dof * np.log(expected) + squares / expected) / 2
    log = log - (within_dof * np.log(multiple) + within_squares / multiple) / 2
    weight = np.exp(log - np.max(log, axis=0))
    total = ordered_sum(weight)
    mean = ordered_sum(weight * multiple) / total
    return Scatter(mean, ordered_sum(weight * (multiple - mean) ** 2) / total)


def scale_and_dof(mean: Any, variance: Any) -> tuple[Any, Any]:
    """Student's t that stands for a normal whose variance is itself uncertain.

    Parameters
    ----------
    mean, variance : array_like, > 0 and >= 0. Of the squared standard uncertainty.

    Returns
    -------
    u and degrees of freedom, at least 4, such that u × t has the same second and fourth moment.

    Notes: dof = 4 + 2 mean²/variance, u² = mean (dof - 2)/dof.
    Source: moments of Student's t; the same idea as Welch-Satterthwaite, JCGM 100:2008, G.4.
    Check: tests/calc/test_interval.py.
    """
    with np.errstate(all="ignore"):  # a variance of 0 means degrees of freedom without end
        dof = np.minimum(4 + 2 * (mean / np.sqrt(variance)) ** 2, MOST_DOF)
    return np.sqrt(mean * (dof - 2) / dof), dof


@dataclass(frozen=True, slots=True)
class FitBottles:
    """What stands behind the points of a line, and the meter that read them; shape (n, *batch)."""

    percent: Any  # %
    u_percent: Any  # %, how well the mixture was made
    readings: Any  # count in each bottle
    guess: Any  # first guess of the scatter of one reading, unit of the reading, shape (*batch)
    resolution: Any  # unit of the reading, shape (*batch)


def bench_scatter(line: Line, fit: FitBottles, within_squares: Any, within_dof: Any) -> Scatter:
    """`learn_scatter` from a line through bottles and from the readings about their bottles.

    Parameters
    ----------
    line : Line, arrays of shape (*batch).
    fit : FitBottles of the same points.
    within_squares, within_dof : array_like, shape (*batch). Readings about the mean of their
        bottle, summed over all bottles, over the squared guess.

    Returns
    -------
    Scatter, shape (*batch).

    Source: expected residual variance of least squares, (1 - leverage) × variance. Check:
    tests/calc/test_interval.py.
    """
    dof = line.degrees_of_freedom
    away = fit.percent - line.percent_mean
    left = 1 - 1 / line.points - away * away / line.percent_spread
    made = fit.u_percent * line.slope / fit.guess
    return learn_scatter(
        squares=dof * (line.residual_sd / fit.guess) ** 2,
        dof=dof,
        share=ordered_sum(left / fit.readings) / dof,
        known=ordered_sum(left * made * made) / dof,
        within_squares=within_squares,
        within_dof=within_dof,
    )


def honest_read_off(
    line: Line, fit: FitBottles, scatter: Scatter, reading: Any, bottles: Any, share: Any
) -> Estimate:
    """Percent at a reading, with an interval that holds for few and rounded readings.

    Parameters
    ----------
    line, fit, scatter : of the same bench, shape (*batch).
    reading : array_like, shape (k, *batch). Mean of the bottle means of each result.
    bottles : array_like, shape of reading, >= 1. How many bottles that mean is taken over.
    share : array_like, shape of reading. Variance of that mean over that of one reading: one over
        the readings of a single bottle.

    Returns
    -------
    Estimate, shape of reading; low and high bound the two-sided 95 % interval.

    Notes: with c_i = 1/n + (x - x̄)(x_i - x̄)/Sxx, the squared uncertainty over slope² is the
    scatter × (share + Σ c_i²/readings_i), plus step²/12 × (1 + Σ c_i²), plus what the standards
    were made to; never below the residual scatter's own. The step is not taken to average out over
    readings or bottles of one liquid, which a quiet meter shows alike.
    Source: JCGM 100:2008, 5.1.2 and F.2.2.1; Willink, Metrologia 44 (2007), on means of rounded
    readings. Check: tests/calc/test_interval.py.
    """
    reading = np.asarray(reading, dtype=float)
    percent = (reading - line.intercept) / line.slope
    away = (fit.percent - line.percent_mean) / line.percent_spread
    pull = 1 / line.points + (percent - line.percent_mean) * away[:, None]
    squares = pull * pull
    lever = ordered_sum(squares)
    by_scatter = share + ordered_sum(squares / fit.readings[:, None])
    made = fit.u_percent[:, None] * line.slope / fit.guess
    known = (fit.resolution / fit.guess) ** 2 / 12 * (1 + lever)
    known = known + ordered_sum(squares * made * made)
    least = (line.residual_sd / fit.guess) ** 2 * (1 / bottles + lever)
    mean = np.maximum(scatter.mean * by_scatter + known, least)
    scale, dof = scale_and_dof(mean, scatter.variance * by_scatter * by_scatter)
    u_percent = scale * (fit.guess / np.abs(line.slope))
    expanded = coverage_factor(dof) * u_percent
    return Estimate(percent, u_percent, dof, percent - expanded, percent + expanded)
