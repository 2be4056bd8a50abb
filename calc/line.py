"""The calibration line through known mixtures, and what its points say against it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.errors import CalcError
from calc.sums import ordered_mean, ordered_sum


@dataclass(frozen=True, slots=True)
class Line:
    """An ordinary straight line; arrays of shape (*batch), readings in the unit of the meter."""

    slope: Any  # reading per %
    intercept: Any  # reading at 0 %
    r: Any  # correlation of reading and percent, -1 to 1
    residual_sd: Any  # reading
    degrees_of_freedom: int  # n - 2
    points: int  # n
    percent_mean: Any  # %
    percent_spread: Any  # sum of squared deviations of the percents, %²

    @property
    def u_slope(self) -> Any:
        """Standard uncertainty of the slope from the residuals, reading per %.

        Source: JCGM 100:2008, H.3.3, equation (H.13d). Check: check-values.json A-01, A-03.
        """
        return self.residual_sd / np.sqrt(self.percent_spread)

    @property
    def u_intercept(self) -> Any:
        """Standard uncertainty of the intercept from the residuals, reading.

        Source: JCGM 100:2008, H.3.3, equation (H.13c). Check: check-values.json A-01, A-03.
        """
        share = 1 / self.points + self.percent_mean**2 / self.percent_spread
        return self.residual_sd * np.sqrt(share)

    @property
    def covariance(self) -> Any:
        """Covariance of intercept and slope from the residuals, reading² per %.

        Source: JCGM 100:2008, H.3.3, equation (H.13e). Check: check-values.json A-01, A-02.
        """
        return -(self.residual_sd**2) * self.percent_mean / self.percent_spread


@dataclass(frozen=True, slots=True)
class Curvature:
    """The quadratic term that a straight line leaves out; arrays of shape (*batch)."""

    term: Any  # reading per %²
    residual_sd: Any  # reading, about the parabola
    degrees_of_freedom: int  # n - 3
    spread: Any  # sum of squares of the quadratic contrast, %⁴


def fit_line(percent: Any, reading: Any) -> Line:
    """Ordinary least squares of reading on percent, every point with equal weight.

    Parameters
    ----------
    percent : array_like, shape (n, *batch), n >= 3. Concentrate in each bottle, % by volume.
    reading : array_like, shape (n, *batch). Index (-), Brix (%) or conductivity, as read.

    Returns
    -------
    Line, arrays of shape (*batch).

    Raises: too_few_points, shapes_differ, no_spread.
    Notes: about the means, slope = Σ dx dy / Σ dx², intercept = ȳ - slope x̄, and the residual
    standard deviation divides by n - 2. Valid while the percents are known much better than the
    readings.
    Source: JCGM 100:2008, H.3; NIST StRD linear regression sets. Check:
    fixtures/reference/check-values.json A-01, A-03, A-06, A-08, A-17, A-19.
    """
    x, y = _points(percent, reading, at_least=3)
    x_mean, y_mean = ordered_mean(x), ordered_mean(y)
    dx, dy = x - x_mean, y - y_mean
    sxx, syy = ordered_sum(dx * dx), ordered_sum(dy * dy)
    if not np.all(sxx > 0):
        raise CalcError("no_spread", "percent")
    slope = ordered_sum(dx * dy) / sxx
    rest = dy - slope * dx
    with np.errstate(all="ignore"):  # readings that are all equal have no correlation
        r = np.clip(slope * np.sqrt(sxx) / np.sqrt(syy), -1, 1)
    return Line(
        slope=slope,
        intercept=y_mean - slope * x_mean,
        r=r,
        residual_sd=np.sqrt(ordered_sum(rest * rest) / (len(x) - 2)),
        degrees_of_freedom=len(x) - 2,
        points=len(x),
        percent_mean=x_mean,
        percent_spread=sxx,
    )


def curvature(percent: Any, reading: Any) -> Curvature:
    """Quadratic term of a parabola through the points, and the scatter about that parabola.

    Parameters
    ----------
    percent, reading : array_like, shape (n, *batch), n >= 4, as for `fit_line`.

    Returns
    -------
    Curvature, arrays of shape (*batch). u(term) = sd / √spread, for any standard deviation sd.

    Raises: too_few_points, shapes_differ, no_spread.
    Notes: q = dx² minus its own straight line on dx, term = Σ q y / Σ q². At least three
    different percents are needed.
    Source: NIST StRD, Pontius (certified quadratic term). Check:
    fixtures/reference/check-values.json A-04, A-17.
    """
    x, y = _points(percent, reading, at_least=4)
    dx, dy = x - ordered_mean(x), y - ordered_mean(y)
    sxx = ordered_sum(dx * dx)
    square = dx * dx - sxx / len(x)
    contrast = square - ordered_sum(square * dx) / sxx * dx
    spread = ordered_sum(contrast * contrast)
    if not np.all(spread > 0):
        raise CalcError("no_spread", "percent")
    term = ordered_sum(contrast * dy) / spread
    rest = dy - ordered_sum(dx * dy) / sxx * dx - term * contrast
    return Curvature(
        term=term,
        residual_sd=np.sqrt(ordered_sum(rest * rest) / (len(x) - 3)),
        degrees_of_freedom=len(x) - 3,
        spread=spread,
    )


def studentised_residuals(percent: Any, reading: Any, line: Line, least_sd: Any = 0.0) -> Any:
    """Residual of each point in units of the scatter of the other points.

    Parameters
    ----------
    percent, reading : array_like, shape (n, *batch), n >= 4, as for `fit_line`.
    line : Line through these points.
    least_sd : array_like, >= 0. Scatter that the instrument has anyway, same unit as reading.

    Returns
    -------
    t, shape (n, *batch), Student's t with n - 3 degrees of freedom while nothing is wrong.

    Raises: too_few_points, shapes_differ.
    Notes: t = e / (s_without √(1 - h)) with leverage h = 1/n + dx²/Σdx² and
    (n - 3) s_without² = (n - 2) s² - e²/(1 - h). Rounded readings may fit the other points with
    no scatter at all; least_sd keeps such a case from crying wolf.
    Source: Cook and Weisberg, Residuals and Influence in Regression (1982), section 2.2.1 (from
    memory). Check: tests/calc/test_line.py, against the refit without the point and statsmodels.
    """
    x, y = _points(percent, reading, at_least=4)
    dx = x - line.percent_mean
    left = np.maximum(1 - 1 / len(x) - dx * dx / line.percent_spread, 1e-12)
    rest = y - line.intercept - line.slope * x
    all_others = line.residual_sd**2 * (len(x) - 2) - rest * rest / left
    sd = np.maximum(np.sqrt(np.maximum(all_others, 0) / (len(x) - 3)), least_sd)
    with np.errstate(all="ignore"):  # no scatter and no least_sd: 0/0 counts as no residual
        t = rest / (sd * np.sqrt(left))
    return np.where(rest == 0, 0.0, t)


def _points(percent: Any, reading: Any, at_least: int) -> tuple[Any, Any]:
    x, y = np.asarray(percent, dtype=float), np.asarray(reading, dtype=float)
    if x.ndim == 0 or x.shape != y.shape:
        raise CalcError("shapes_differ", "reading")
    if len(x) < at_least:
        raise CalcError("too_few_points", "percent", count=len(x), least=at_least)
    return x, y
