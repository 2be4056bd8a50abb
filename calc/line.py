"""The calibration line through known mixtures, and what its points say against it.

Points may carry weights. A weight of 0 leaves a point out without moving it, so that tests of
different size lie in one array and give the same bits as each alone.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.errors import CalcError
from calc.sums import ordered_sum

YORK_STEPS = 50  # own choice: the published example needs 8 to the last digit
YORK_CLOSE = 1e-15  # of the slope, own choice: at the last digit of a double


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line; arrays of shape (*batch), readings in the unit of the meter."""

    slope: Any  # reading per %
    intercept: Any  # reading at 0 %
    r: Any  # correlation of reading and percent, -1 to 1
    residual_sd: Any  # reading, for a point of mean weight
    degrees_of_freedom: Any  # n - 2
    points: Any  # n
    percent_mean: Any  # %, by weight
    percent_spread: Any  # sum of squared deviations of the percents, by weight, %²
    weight: Any  # shape (n, *batch), mean 1 over the points; 1 where every point counts alike

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

    def leverage(self, percent: Any) -> Any:
        """Share of its own reading that each point of the fit has in the line there, 0 to 1.

        Source: Cook and Weisberg (1982), section 2.1 (from memory). Check: tests/calc/test_line.py.
        """
        away = percent - self.percent_mean
        return self.weight * (1 / self.points + away * away / self.percent_spread)


@dataclass(frozen=True, slots=True)
class BothAxes:
    """A line through points that are uncertain in both directions; arrays of shape (*batch)."""

    line: Line
    chi_square: Any  # sum of weighted squares; about n - 2 when the uncertainties are right
    u_intercept: Any  # reading, from the stated uncertainties alone
    u_slope: Any  # reading per %, same


@dataclass(frozen=True, slots=True)
class Curvature:
    """The quadratic term that a straight line leaves out; arrays of shape (*batch)."""

    term: Any  # reading per %²
    residual_sd: Any  # reading, about the parabola
    degrees_of_freedom: Any  # n - 3
    spread: Any  # sum of squares of the quadratic contrast, by weight, %⁴


def fit_line(percent: Any, reading: Any, weight: Any = None) -> Line:
    """Least squares of reading on percent; error in the reading only.

    Parameters
    ----------
    percent : array_like, shape (n, *batch), n >= 3. Concentrate in each bottle, % by volume.
    reading : array_like, shape (n, *batch). Index (-), Brix (%) or conductivity, as read.
    weight : array_like, shape (n, *batch), >= 0, or None for an ordinary line. Proportional to
        1/variance of each reading; 0 leaves the point out.

    Returns
    -------
    Line, arrays of shape (*batch).

    Raises: too_few_points, shapes_differ, no_spread.
    Notes: about the weighted means, slope = Σ w dx dy / Σ w dx², intercept = ȳ - slope x̄, and the
    residual variance Σ w e² divides by n - 2. Valid while the percents are known much better than
    the readings.
    Source: JCGM 100:2008, H.3; NIST StRD linear regression sets; weights ISO/TS 28037:2010.
    Check: fixtures/reference/check-values.json A-01, A-03, A-06, A-08, A-17, A-19.
    """
    x, y = _points(percent, reading, at_least=3)
    w, count = _weights(weight, x)
    x_mean, y_mean = ordered_sum(w * x) / count, ordered_sum(w * y) / count
    dx, dy = x - x_mean, y - y_mean
    wdx = w * dx
    sxx = ordered_sum(wdx * dx)
    if not np.all(sxx > 0):
        raise CalcError("no_spread", "percent")
    return _line(x, y, w, count, (x_mean, y_mean, sxx), ordered_sum(wdx * dy) / sxx)


def fit_both_axes(
    percent: Any, reading: Any, u_percent: Any, u_reading: Any, weight: Any = None
) -> BothAxes:
    """Straight line through points whose percent and reading are both uncertain.

    Parameters
    ----------
    percent, reading : array_like, shape (n, *batch), as for `fit_line`.
    u_percent, u_reading : array_like, same shape, >= 0 and > 0. Standard uncertainties of each
        point, independent of each other.
    weight : array_like, shape (n, *batch), 1 for a point and 0 to leave it out, or None.

    Returns
    -------
    BothAxes.

    Raises: too_few_points, shapes_differ, no_spread.
    Notes: York's iteration from the ordinary slope, W = 1/(u_y² + slope² u_x²), each test until
    its own slope stands still. The uncertainties are taken at the adjusted points, unscaled; times
    √(chi_square/(n - 2)) they follow the residuals instead.
    Source: York et al., Am. J. Phys. 72 (2004) 367. Check: check-values.json A-10, A-20.
    """
    x, y = _points(percent, reading, at_least=3)
    ux2, uy2 = np.square(np.asarray(u_percent, float)), np.square(np.asarray(u_reading, float))
    used = np.asarray(1.0 if weight is None else weight, float)
    slope = np.asarray(fit_line(x, y, weight).slope)
    still = np.zeros(slope.shape, dtype=bool)
    for _ in range(YORK_STEPS):
        w = used / (uy2 + slope * slope * ux2)
        beta, centre = _adjusted(x, y, ux2, uy2, slope, w)
        step = ordered_sum(w * beta * (y - centre[1])) / ordered_sum(w * beta * (x - centre[0]))
        still |= np.abs(step - slope) <= YORK_CLOSE * np.abs(step)
        slope = np.where(still, slope, step)
        if np.all(still | ~np.isfinite(step)):
            break
    w = used / (uy2 + slope * slope * ux2)
    beta, _ = _adjusted(x, y, ux2, uy2, slope, w)
    return _both_axes(x, y, w, beta, slope)


def _adjusted(x: Any, y: Any, ux2: Any, uy2: Any, slope: Any, w: Any) -> tuple[Any, Any]:
    """How far each adjusted percent lies from the weighted mean, and the two means."""
    total = ordered_sum(w)
    x_mean, y_mean = ordered_sum(w * x) / total, ordered_sum(w * y) / total
    beta = w * ((x - x_mean) * uy2 + slope * ux2 * (y - y_mean))
    return beta, (x_mean, y_mean)


def _both_axes(x: Any, y: Any, w: Any, beta: Any, slope: Any) -> BothAxes:
    present, total = w > 0, ordered_sum(w)
    count = ordered_sum(present)
    x_mean, y_mean = ordered_sum(w * x) / total, ordered_sum(w * y) / total
    normed = w / (total / count)
    sxx = ordered_sum(normed * (x - x_mean) ** 2)
    line = _line(x, y, normed, count, (x_mean, y_mean, sxx), slope)
    rest = y - line.intercept - slope * x
    beta_mean = ordered_sum(w * beta) / total
    u_slope2 = 1 / ordered_sum(w * (beta - beta_mean) ** 2)
    adjusted_mean = x_mean + beta_mean
    return BothAxes(
        line=line,
        chi_square=ordered_sum(w * rest * rest),
        u_intercept=np.sqrt(1 / total + adjusted_mean**2 * u_slope2),
        u_slope=np.sqrt(u_slope2),
    )


def _line(x: Any, y: Any, w: Any, count: Any, about: tuple[Any, Any, Any], slope: Any) -> Line:
    x_mean, y_mean, sxx = about
    dx, dy = x - x_mean, y - y_mean
    rest = dy - slope * dx
    syy = ordered_sum(w * dy * dy)
    dof = count - 2
    with np.errstate(all="ignore"):  # readings that are all equal have no correlation
        r = np.clip(ordered_sum(w * dx * dy) / np.sqrt(sxx) / np.sqrt(syy), -1, 1)
    return Line(
        slope=slope,
        intercept=y_mean - slope * x_mean,
        r=r,
        residual_sd=np.sqrt(ordered_sum(w * rest * rest) / dof),
        degrees_of_freedom=dof,
        points=count,
        percent_mean=x_mean,
        percent_spread=sxx,
        weight=w,
    )


def curvature(percent: Any, reading: Any, weight: Any = None) -> Curvature:
    """Quadratic term of a parabola through the points, and the scatter about that parabola.

    Parameters
    ----------
    percent, reading, weight : array_like, shape (n, *batch), n >= 4, as for `fit_line`.

    Returns
    -------
    Curvature, arrays of shape (*batch). u(term) = sd / √spread, for any standard deviation sd.

    Raises: too_few_points, shapes_differ, no_spread.
    Notes: q = dx² minus its own straight line on dx, term = Σ w q y / Σ w q². At least three
    different percents are needed.
    Source: NIST StRD, Pontius (certified quadratic term). Check:
    fixtures/reference/check-values.json A-04, A-17.
    """
    x, y = _points(percent, reading, at_least=4)
    w, count = _weights(weight, x)
    dx = x - ordered_sum(w * x) / count
    dy = y - ordered_sum(w * y) / count
    wdx = w * dx
    sxx = ordered_sum(wdx * dx)
    square = dx * dx - sxx / count
    contrast = square - ordered_sum(square * wdx) / sxx * dx
    spread = ordered_sum(w * contrast * contrast)
    if not np.all(spread > 0):
        raise CalcError("no_spread", "percent")
    term = ordered_sum(w * contrast * dy) / spread
    rest = dy - ordered_sum(wdx * dy) / sxx * dx - term * contrast
    return Curvature(
        term=term,
        residual_sd=np.sqrt(ordered_sum(w * rest * rest) / (count - 3)),
        degrees_of_freedom=count - 3,
        spread=spread,
    )


def studentised_residuals(percent: Any, reading: Any, line: Line, least_sd: Any = 0.0) -> Any:
    """Residual of each point in units of the scatter of the other points.

    Parameters
    ----------
    percent, reading : array_like, shape (n, *batch), n >= 4, as for `fit_line`.
    line : Line through these points, with its weights.
    least_sd : array_like, >= 0. Scatter that the instrument has anyway, same unit as reading.

    Returns
    -------
    t, shape (n, *batch), Student's t with n - 3 degrees of freedom while nothing is wrong.

    Raises: too_few_points, shapes_differ.
    Notes: t = e √w / (s_without √(1 - h)) with leverage h and
    (n - 3) s_without² = (n - 2) s² - w e²/(1 - h). Rounded readings may fit the other points with
    no scatter at all; least_sd keeps such a case from crying wolf.
    Source: Cook and Weisberg, Residuals and Influence in Regression (1982), section 2.2.1 (from
    memory). Check: tests/calc/test_line.py, against the refit without the point and statsmodels.
    """
    x, y = _points(percent, reading, at_least=4)
    left = np.maximum(1 - line.leverage(x), 1e-12)
    rest = (y - line.intercept - line.slope * x) * np.sqrt(line.weight)
    all_others = line.residual_sd**2 * line.degrees_of_freedom - rest * rest / left
    sd = np.sqrt(np.maximum(all_others, 0) / (line.degrees_of_freedom - 1))
    with np.errstate(all="ignore"):  # no scatter and no least_sd: 0/0 counts as no residual
        t = rest / (np.maximum(sd, least_sd) * np.sqrt(left))
    return np.where(rest == 0, 0.0, t)


def _points(percent: Any, reading: Any, at_least: int) -> tuple[Any, Any]:
    x, y = np.asarray(percent, dtype=float), np.asarray(reading, dtype=float)
    if x.ndim == 0 or x.shape != y.shape:
        raise CalcError("shapes_differ", "reading")
    if len(x) < at_least:
        raise CalcError("too_few_points", "percent", count=len(x), least=at_least)
    return x, y


def _weights(weight: Any, x: Any) -> tuple[Any, Any]:
    """Weights of mean 1 over the points that have any, and how many points these are."""
    if weight is None:
        return 1.0, len(x)
    w = np.asarray(weight, dtype=float)
    if w.shape != x.shape:
        raise CalcError("shapes_differ", "weight")
    count = ordered_sum(w > 0)
    return w * (count / ordered_sum(w)), count
