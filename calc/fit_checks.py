"""The tests on the lines of a batch: bend, slip of one bottle, scatter beyond the repeats."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.batch import Benches
from calc.line import Line, curvature, studentised_residuals
from calc.sums import ordered_sum


@dataclass(frozen=True, slots=True)
class FitChecks:
    """Arrays, one column a test; what cannot be said of a test is not a number there."""

    bend_t: Any  # of the quadratic term, shape (B,)
    bend_dof: Any  # n - 3
    outlier_t: Any  # externally studentised, shape (n, B)
    lack_f: Any  # variance ratio of bottles about the line over their repeats, shape (B,)
    lack_probability: Any  # of so large a ratio while nothing is wrong


def fit_checks(benches: Benches, line: Line, least_sd: Any) -> FitChecks:
    """What the points of each line say against it.

    Parameters
    ----------
    benches : Benches, with `used`.
    line : Line of each test.
    least_sd : array_like, shape (B,), > 0. Scatter that each instrument has anyway.

    Returns
    -------
    FitChecks.

    Source: calc.line for bend and slip; `lack_of_fit`. Check: tests/calc/test_fit_checks.py.
    """
    count = np.shape(benches.guess)[0]
    f, probability = lack_of_fit(benches, line, least_sd)
    if len(benches.percent) < 4:
        nothing = np.full(count, np.nan)
        return FitChecks(nothing, nothing, np.full(benches.percent.shape, np.nan), f, probability)
    bend = curvature(benches.percent, benches.reading, line.weight)
    sd = np.maximum(bend.residual_sd, least_sd)
    return FitChecks(
        bend_t=bend.term * np.sqrt(bend.spread) / sd,
        bend_dof=bend.degrees_of_freedom,
        outlier_t=studentised_residuals(benches.percent, benches.reading, line, least_sd),
        lack_f=f,
        lack_probability=probability,
    )


def lack_of_fit(benches: Benches, line: Line, least_sd: Any) -> tuple[Any, Any]:
    """Whether bottles lie off the line by more than their own repeated readings explain.

    Parameters
    ----------
    benches : Benches. Without repeated readings the answer is not a number.
    line : Line of each test.
    least_sd : array_like, shape (B,), > 0. The repeats never count as closer than that: a coarse
        display shows the same number again.

    Returns
    -------
    Variance ratio F and the probability of one as large while nothing is wrong, shape (B,).

    Notes: F = (Σ m e²/(n - 2))/(s² + what the standards were made to), m readings a bottle, s²
    their pooled variance about the bottle means.
    Source: the lack-of-fit test of regression with replicates, as in NIST/SEMATECH e-Handbook
    4.4.4.6 (clause from memory). Check: tests/calc/test_fit_checks.py, against statsmodels.
    """
    from scipy.special import fdtrc  # slow to import, and only tests need it

    rest = benches.reading - line.intercept - line.slope * benches.percent
    repeats = benches.used * benches.readings
    between = ordered_sum(repeats * rest * rest) / line.degrees_of_freedom
    left = 1 - line.leverage(benches.percent)
    made = np.square(benches.u_percent * line.slope)
    known = ordered_sum(repeats * left * made) / line.degrees_of_freedom
    repeats_dof = np.maximum(benches.within_dof, 1)
    pooled = benches.within_squares * np.square(benches.guess) / repeats_dof
    f = between / (np.maximum(pooled, np.square(least_sd)) + known)
    repeated = ordered_sum(benches.used * (benches.readings - 1)) > 0
    f = np.where(repeated, f, np.nan)
    return f, fdtrc(line.degrees_of_freedom, repeats_dof, f)
