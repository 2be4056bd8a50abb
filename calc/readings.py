"""Readings made comparable: Brix and index, temperature, conductivity at 25 °C.

What was typed stays raw; a correction gives a second number and says how large it was.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.arguments import finite, not_negative, numbers, one_shape, positive, within
from calc.errors import CalcError, quoted
from calc.student import coverage_factor
from calc.water import IN_RANGE, water_index

WATER_BRIX_INDEX = 1.332986  # nD of 0 % sucrose at 20 °C against air, ICUMSA SPS-3
# nD over that of water, in powers of the mass fraction. Our own least squares through the whole
# percents of the ICUMSA table, 0 to 85 %; it stays within 6e-6 of every entry (printed to 1e-5).
SUCROSE_TERMS = (0.14277841, 0.05458738, 0.01241204, 0.01292099, -0.00940737)
LEAST_BRIX, MOST_BRIX = -5.0, 85.0  # %, a little below 0 because warm water reads below 0
NEWTON_STEPS = 6  # own choice: four reach the last digit over the whole scale

# % Brix per °C from 20 °C: (s0 + s1 w + s2 w²) d + (s3 + s4 w) d², w mass fraction read. Our own
# best fit of the published corrections from 10 to 17 °C, 10 to 30 %: within 0.005 of each.
BRIX_TEMPERATURE_TERMS = (0.064139, 0.043182, -0.025830, 0.00102922, -0.00154762)

LINEAR, NATURAL = "linear", "natural water"  # how conductivity follows temperature
LINEAR_COEFFICIENT = 0.0191  # 1/K about 25 °C, Standard Methods 2510 B (from memory)
# ISO 7888:1985, closed form of its table of natural waters: no unit but C and D in °C.
NATURAL_WATER = (0.962144, 0.965078, -0.198058, -1.992186, 231.176628, 86.391230)
NATURAL_WATER_RANGE = (0.0, 35.9)  # °C, ISO 7888:1985, extent of the table

INDEX_PER_SALINITY = 1.8e-4  # nD per g/kg of salt, fit of published tables, second-hand


@dataclass(frozen=True, slots=True)
class Moved:
    """Two readings of what should be one liquid, apart in points; arrays of one shape."""

    points: Any  # second minus first, % by volume
    u_points: Any
    allowed: Any  # points that readings of one liquid may be apart, 95 %
    moved: Any  # True where they are apart by more


@dataclass(frozen=True, slots=True)
class Corrected:
    """A reading at the temperature asked for; shift = reading - as read, same unit and shape."""

    reading: Any
    shift: Any


def brix_to_index(brix: Any) -> Any:
    """Index nD at 20 °C that belongs to a mark of the Brix scale.

    Parameters
    ----------
    brix : array_like, -5 to 85 % by mass of sucrose.

    Returns
    -------
    nD against air at 20 °C, same shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: polynomial in the mass fraction, fifth order. Below 0 % it only carries the scale on.
    Source: ICUMSA sucrose table at 20 °C and 589 nm (1974, SPS-3). Check:
    fixtures/reference/check-values.json B-04.
    """
    w = within("brix", brix, LEAST_BRIX, MOST_BRIX, "-5 to 85 percent Brix") / 100
    return WATER_BRIX_INDEX + _sucrose(w)


def index_to_brix(index: Any) -> Any:
    """Mark of the Brix scale that belongs to an index nD at 20 °C; undoes `brix_to_index`.

    Parameters
    ----------
    index : array_like, nD against air at 20 °C, 1.3260 to 1.5039.

    Returns
    -------
    % by mass of sucrose, same shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: Newton's method on the polynomial, which rises everywhere on the scale.
    Source: ICUMSA sucrose table at 20 °C and 589 nm (1974, SPS-3). Check:
    fixtures/reference/check-values.json B-04.
    """
    least, most = (WATER_BRIX_INDEX + _sucrose(b / 100) for b in (LEAST_BRIX, MOST_BRIX))
    wanted = within("index", index, least, most, f"{least:.4f} to {most:.4f}") - WATER_BRIX_INDEX
    w = wanted / SUCROSE_TERMS[0]
    for _ in range(NEWTON_STEPS):
        w = w - (_sucrose(w) - wanted) / _sucrose_slope(w)
    return 100 * w


def _sucrose(w: Any) -> Any:
    rise = 0.0 * w
    for term in reversed(SUCROSE_TERMS):
        rise = (rise + term) * w
    return rise


def _sucrose_slope(w: Any) -> Any:
    slope = 0.0 * w
    for power in range(len(SUCROSE_TERMS), 0, -1):
        slope = slope * w + power * SUCROSE_TERMS[power - 1]
    return slope


def brix_correction(brix: Any, temperature_c: Any) -> Any:
    """What is added to a sugar reading taken at another temperature than 20 °C.

    Parameters
    ----------
    brix : array_like, 0 to 30 % by mass, as read.
    temperature_c : array_like, 10 to 30 °C.

    Returns
    -------
    % Brix, broadcast shape; negative below 20 °C.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: for sugar solutions, as compensating instruments do it. Fitted from 10 to 17 °C; from
    there on the fit is carried on and agrees with the rest of the table within 0.03 (from memory).
    A weak foam solution follows water instead: use `at_temperature`.
    Source: OIV-MA-AS2-02 (2012), table I. Check: fixtures/reference/check-values.json B-05, B-09.
    """
    one_shape("temperature_c", brix, temperature_c)
    w = within("brix", brix, 0, 30, "0 to 30 percent Brix") / 100
    d = within("temperature_c", temperature_c, 10, 30, "10 to 30 °C") - 20
    s = BRIX_TEMPERATURE_TERMS
    return (s[0] + s[1] * w + s[2] * w * w) * d + (s[3] + s[4] * w) * d * d


def linear_to_25(
    conductivity: Any, temperature_c: Any, coefficient: Any = LINEAR_COEFFICIENT
) -> Any:
    """Conductivity at 25 °C by a straight line in temperature.

    Parameters
    ----------
    conductivity : array_like, >= 0, any unit, at temperature_c and not compensated.
    temperature_c : array_like, 0 to 40 °C.
    coefficient : array_like, 0 to 0.035 per K about 25 °C.

    Returns
    -------
    Conductivity at 25 °C, unit of the reading, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ, beyond_numbers.
    Notes: κ25 = κ/(1 + α (t - 25)). Good within a few degrees; the coefficient is the liquid's
    own, and `effective_coefficient` finds it from one bottle read twice.
    Source: Standard Methods 2510 B. Check: fixtures/reference/check-values.json C-04.
    """
    one_shape("temperature_c", conductivity, temperature_c, coefficient)
    share = _linear_share(temperature_c, coefficient)
    with np.errstate(over="ignore"):  # refused in words
        return finite("conductivity", not_negative("conductivity", conductivity) / share)


def _linear_share(temperature_c: Any, coefficient: Any) -> Any:
    t = within("temperature_c", temperature_c, 0, 40, IN_RANGE)
    alpha = within("coefficient", coefficient, 0, 0.035, "0 to 0.035 per K")
    return 1 + alpha * (t - 25)


def effective_coefficient(conductivity: Any, temperature_c: Any, conductivity_25: Any) -> Any:
    """Temperature coefficient of a liquid from two readings of the same bottle.

    Parameters
    ----------
    conductivity : array_like, > 0, any unit, read at temperature_c, not compensated.
    temperature_c : array_like, 0 to 40 °C, at least 1 °C from 25.
    conductivity_25 : array_like, > 0, same unit, read at 25 °C.

    Returns
    -------
    Coefficient per K about 25 °C, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: α = (κ25 - κ)/((25 - t) κ25).
    Source: arithmetic on Standard Methods 2510 B. Check:
    fixtures/reference/check-values.json C-09.
    """
    one_shape("conductivity_25", conductivity, temperature_c, conductivity_25)
    k, k25 = positive("conductivity", conductivity), positive("conductivity_25", conductivity_25)
    apart = 25 - within("temperature_c", temperature_c, 0, 40, IN_RANGE)
    if np.any(np.abs(apart) < 1):
        want = "a temperature at least 1 °C from 25 °C"
        raise CalcError("out_of_range", "temperature_c", got=f"{temperature_c}", want=want)
    return (k25 - k) / (apart * k25)


def natural_water_factor(temperature_c: Any) -> Any:
    """Factor that brings the conductivity of a natural water to 25 °C.

    Parameters
    ----------
    temperature_c : array_like, 0 to 35.9 °C.

    Returns
    -------
    f25, no unit, same shape: κ25 = κ f25.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: v = A + exp(B + C/(t + D)), f = (1 - a) + a vⁿ, f25 = f(t)/f(25), so that it is exactly 1
    at 25 °C. For ground, spring and surface waters with little salt.
    Source: ISO 7888:1985 (EN 27888:1993). Check: fixtures/reference/check-values.json C-05, C-06.
    """
    least, most = NATURAL_WATER_RANGE
    t = within("temperature_c", temperature_c, least, most, f"{least:g} to {most:g} °C")
    return _natural(t) / _natural(25.0)


def _natural(t: Any) -> Any:
    share, power, shift, level, steep, origin = NATURAL_WATER
    v = shift + np.exp(level + steep / (t + origin))
    return (1 - share) + share * v**power


def at_temperature(
    method: str,
    reading: Any,
    temperature_c: Any,
    to_c: Any,
    coefficient: Any = LINEAR_COEFFICIENT,
    compensation: str = LINEAR,
) -> Corrected:
    """A reading of water, standard or sample as it would be at a common temperature.

    Parameters
    ----------
    method : str. "refractive_index", "brix" or "conductivity"; without the instrument's own
        compensation.
    reading : array_like. nD, % Brix, or conductivity in any unit, read at temperature_c.
    temperature_c, to_c : array_like, 0 to 40 °C.
    coefficient : array_like, 0 to 0.035 per K about 25 °C; conductivity only.
    compensation : str, "linear" or "natural water" (0 to 35.9 °C, without coefficient);
        conductivity only.

    Returns
    -------
    Corrected, broadcast shape. Divide shift by the slope of the line for its size in points.

    Raises: unknown_choice, not_a_number, not_finite, out_of_range, shapes_differ, beyond_numbers.
    Notes: the index moves as that of pure water, n(t0) - n(t); a Brix scale is an index scale in
    other marks; conductivity by 1 + α (t - 25) or by f25(t)/f25(t0). Good for water and for
    mixtures of a few percent, not for undiluted concentrate, whose index falls faster.
    Source: IAPWS R9-97; Standard Methods 2510 B; ISO 7888:1985. Check:
    fixtures/reference/check-values.json B-08, C-04, C-05 and tests/calc/test_readings.py.
    """
    one_shape("temperature_c", reading, temperature_c, to_c, coefficient)
    raw = numbers("reading", reading)
    if method == "conductivity":
        share = _conductivity_share(temperature_c, to_c, coefficient, compensation)
        with np.errstate(over="ignore"):  # refused in words
            now = finite("reading", not_negative("reading", raw) * share)
        return Corrected(now, now - raw)
    if method not in ("refractive_index", "brix"):
        choices = '"refractive_index", "brix", "conductivity"'
        raise CalcError("unknown_choice", "method", got=quoted(str(method)), choices=choices)
    shift = water_index(within("to_c", to_c, 0, 40, IN_RANGE)) - water_index(temperature_c)
    if method == "refractive_index":
        return Corrected(raw + shift, shift + 0.0 * raw)
    now = index_to_brix(brix_to_index(raw) + shift)
    return Corrected(now, now - raw)


def _conductivity_share(t: Any, to_c: Any, coefficient: Any, compensation: str) -> Any:
    """Conductivity at to_c over that at t."""
    if compensation == NATURAL:
        least, most = NATURAL_WATER_RANGE
        wanted = within("to_c", to_c, least, most, f"{least:g} to {most:g} °C")
        return natural_water_factor(t) / natural_water_factor(wanted)
    if compensation != LINEAR:
        got, choices = quoted(str(compensation)), '"linear", "natural water"'
        raise CalcError("unknown_choice", "compensation", got=got, choices=choices)
    wanted = within("to_c", to_c, 0, 40, IN_RANGE)
    return _linear_share(wanted, coefficient) / _linear_share(t, coefficient)


def water_moved(first: Any, second: Any, u_first: Any, u_second: Any, slope: Any) -> Moved:
    """Whether two readings of water differ, and what that is worth in points.

    For the water of the standards against the water of the test, and for the water read first on
    the bench against the same water read last: where it moved, the whole bench did.

    Parameters
    ----------
    first, second : array_like, mean readings, one unit, at one temperature.
    u_first, u_second : array_like, >= 0, standard uncertainties of these means, same unit.
    slope : array_like, not 0. Reading per % of the line.

    Returns
    -------
    Moved, broadcast shape.

    Raises: not_a_number, not_finite, flat_line, out_of_range, shapes_differ.
    Notes: (second - first)/slope against 1.96 of its standard uncertainty.
    Source: JCGM 100:2008, 5.1.2 and Table G.1. Check: tests/calc/test_readings.py.
    """
    one_shape("second", first, second, u_first, u_second, slope)
    steep = np.abs(numbers("slope", slope))
    if np.any(steep == 0):
        raise CalcError("flat_line", "slope")
    apart = numbers("second", second) - numbers("first", first)
    u_both = np.hypot(not_negative("u_first", u_first), not_negative("u_second", u_second))
    u_points = u_both / steep
    points = apart / numbers("slope", slope)
    allowed = coverage_factor(np.inf) * u_points
    return Moved(points, u_points, allowed, np.abs(points) > allowed)


def salinity_between(fresher: Any, saltier: Any) -> Any:
    """How much more salt one water holds than another, by their index.

    Parameters
    ----------
    fresher, saltier : array_like, nD at one temperature.

    Returns
    -------
    g/kg, broadcast shape; negative when the second is the fresher one.

    Raises: not_a_number, not_finite, shapes_differ.
    Notes: (n2 - n1)/1.8e-4. Sea water of 35 g/kg reads 0.0064 more than fresh water.
    Source: fit of published tables of sea water, second-hand. Check: tests/calc/test_readings.py.
    """
    one_shape("saltier", fresher, saltier)
    return (numbers("saltier", saltier) - numbers("fresher", fresher)) / INDEX_PER_SALINITY
