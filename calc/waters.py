"""The water of a bench beside itself: read again at the end, or as it went through the system."""

from calc.checks import ALIKE_SHARE
from calc.errors import CalcError, Warned
from calc.form import Bench, Bottle
from calc.inverse import instrument_sd
from calc.readings import at_temperature, water_moved


def on_waters(bench: Bench, slope: float, reading_sd: float) -> list[Warned]:
    """Warn when one water reads apart from itself, or the two waters of a test from each other.

    Either leaves every answer open: the one says that the meter moved between the bottles, the
    other that standards and samples have no line in common. Readings scatter as the bench has
    shown, and not less than the instrument states; a tenth of the band is let pass.

    Source: calc.readings.water_moved. Check: tests/calc/test_waters.py and the table of slips.
    """
    warned = []
    sd = max(reading_sd, bench.instrument.repeatability or 0.0)
    if bench.water_again is not None:
        mean = bench.water_again.mean
        warned += _apart("water_drifted", bench, bench.water_again, mean, slope, sd)
    if bench.test_water is not None:
        mean = _as_warm_as_water(bench, bench.test_water)
        warned += _apart("waters_differ", bench, bench.test_water, mean, slope, sd)
    return warned


def _apart(
    code: str, bench: Bench, bottle: Bottle, mean: float, slope: float, sd: float
) -> list[Warned]:
    u_first, u_second = _u(bench, bench.water, sd), _u(bench, bottle, sd)
    try:
        moved = water_moved(bench.water.mean, mean, u_first, u_second, slope)
    except CalcError:  # step or scatter are no numbers any more; its places mean nothing here
        raise CalcError("beyond_numbers", bottle.where) from None
    points = float(moved.points)
    if not moved.moved or abs(points) <= ALIKE_SHARE * bench.band.width:
        return []
    values = {
        "points": abs(points),
        "way": "higher" if points > 0 else "lower",
        "allowed": float(moved.allowed),
    }
    return [Warned(code, bottle.where, values)]


def _u(bench: Bench, bottle: Bottle, sd: float) -> float:
    return float(instrument_sd(bench.instrument.width, sd / len(bottle.values) ** 0.5))


def _as_warm_as_water(bench: Bench, bottle: Bottle) -> float:
    """Mean of the other water at the temperature of the first: two waters may be read hours apart,
    and their difference in warmth is none of theirs."""
    here, there = bottle.temperature_c, bench.water.temperature_c
    corrected = bench.correct_to_c is not None or bench.instrument.temperature_compensated
    if corrected or here is None or there is None:
        return bottle.mean
    try:
        return float(at_temperature(bench.method, bottle.mean, here, there).reading)
    except CalcError:  # beyond what the equations cover: a warning of its own stands for that
        return bottle.mean
