"""Temperatures of a bench: what a difference between the bottles is worth, and putting it right."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calc.errors import CalcError, Warned
from calc.form import Bench, Bottle, mean_of
from calc.line import fit_line
from calc.readings import at_temperature
from calc.sums import ordered_mean

WARN_APART, OPEN_APART = 1.0, 3.0  # °C, common practice, no source
WARN_SHARE = 1 / 3  # of the band, own choice: in salty water less than a degree is worth so much
DUST = 1e-9  # °C, own choice: 21.1 - 20.1 must count as 1
COLDEST, WARMEST = 0.0, 40.0  # °C, where the equation for the water index is good
COLDEST_BENCH, WARMEST_BENCH = -5.0, 45.0  # °C, own choice: beyond it a unit is mistaken
UNSURE_SHARE = 0.1  # of a correction, own choice: foam solution follows water about that closely

# Change of a reading per °C that the bottle is warmer.
INDEX_PER_C = -1.0e-4  # -; mean of -0.88e-4 and -1.05e-4, check-values B-08 (IAPWS R9-97)
BRIX_PER_C = -0.065  # % Brix; -0.32 from 20 to 15 °C turned round, check-values B-05 (OIV)
CONDUCTIVITY_PER_C = 0.02  # of the reading; 0.019 to 0.020 in check-values C-09 (CRC Handbook)


@dataclass(frozen=True, slots=True)
class Temperatures:
    """What temperatures do to a bench: warnings, and the places of bottles left open by them."""

    warned: tuple[Warned, ...]
    left_open: frozenset[str]
    # What its temperature adds to the reading of each bottle, by its place; empty where no
    # difference is worth a warning.
    added: Mapping[str, float]


def corrected(bench: Bench) -> Bench:
    """The bench with every reading as it would be at the temperature asked for.

    The undiluted concentrate stays as read: its index falls faster than that of water.

    Raises: corrected_twice, temperature_needed, out_of_range at the reading's place.
    Source: calc.readings.at_temperature. Check: tests/calc/test_temperatures.py.
    """
    to_c = bench.correct_to_c
    if to_c is None:
        return bench
    if bench.instrument.temperature_compensated:
        raise CalcError("corrected_twice", "$.correct_to_c")
    values = _at(bench, to_c)
    return replace(
        bench,
        water=_bottle(bench.water, values),
        standards=tuple(replace(s, bottle=_bottle(s.bottle, values)) for s in bench.standards),
        samples=tuple(replace(s, bottle=_bottle(s.bottle, values)) for s in bench.samples),
        water_again=bench.water_again and _bottle(bench.water_again, values),
        test_water=bench.test_water and _bottle(bench.test_water, values),
    )


def _at(bench: Bench, to_c: float) -> dict[str, tuple[float, ...]]:
    """Corrected values by the place of the bottle; all readings of a bench at once."""
    bottles = bench.dilute_bottles
    for bottle in bottles:
        for reading in bottle.readings:
            _require_known(bottle, reading.temperature_c)
    readings = [r for bottle in bottles for r in bottle.readings]
    try:
        moved = at_temperature(
            bench.method,
            np.array([r.value for r in readings]),
            np.array([r.temperature_c for r in readings], dtype=float),
            to_c,
        ).reading.tolist()
    except CalcError as error:
        raise CalcError(error.code, "$.correct_to_c", **error.values) from None
    values, start = {}, 0
    for bottle in bottles:
        end = start + len(bottle.readings)
        values[bottle.where], start = tuple(moved[start:end]), end
    return values


def _require_known(bottle: Bottle, temperature_c: float | None) -> None:
    if temperature_c is None:
        raise CalcError("temperature_needed", bottle.where)
    if not COLDEST <= temperature_c <= WARMEST:
        want = "a temperature from 0 to 40 °C where readings are corrected"
        raise CalcError("out_of_range", bottle.where, got=f"{temperature_c:g}", want=want)


def _bottle(bottle: Bottle, values: dict[str, tuple[float, ...]]) -> Bottle:
    own = values[bottle.where]
    return replace(bottle, values=own, mean=mean_of(own, bottle.where))


def shift(bottle: Bottle) -> float:
    """What a correction added to the mean of a bottle, unit of the reading."""
    return bottle.mean - mean_of([reading.value for reading in bottle.readings], bottle.where)


def unsure(bench: Bench, bottle: Bottle) -> float:
    """Standard uncertainty that a correction leaves in a bottle against the standards.

    What moves sample and standards alike does no harm, so only the difference counts.

    Source: own choice, 10 % of the difference. Check: tests/calc/test_temperatures.py.
    """
    if bench.correct_to_c is None:
        return 0.0
    of_standards = [shift(standard.bottle) for standard in bench.standards]
    return UNSURE_SHARE * abs(shift(bottle) - mean_of(of_standards, bottle.where))


def look(bench: Bench, slope: float) -> Temperatures:
    """Warnings on temperature, and the places of the bottles that it leaves open.

    Each bottle is held against the mean of the standards' bottle means, slope is in readings per
    percent. The undiluted concentrate is not part of the result and not looked at.
    """
    if bench.correct_to_c is not None:
        return Temperatures(tuple(_corrections(bench, bench.correct_to_c, slope)), frozenset(), {})
    warned = [*_without_temperature(bench.dilute_bottles), *_odd(bench.dilute_bottles)]
    known = [t for s in bench.standards if (t := s.bottle.temperature_c) is not None]
    if bench.instrument.temperature_compensated or not known:
        return Temperatures(tuple(warned), frozenset(), {})
    middle = float(ordered_mean(known))
    left_open, added, named = set(), {}, False
    for bottle in bench.bottles:
        if bottle.temperature_c is None:
            continue
        warmer = bottle.temperature_c - middle
        added[bottle.where] = _per_c(bench.method, bottle) * warmer
        points = added[bottle.where] / slope
        is_apart = abs(warmer) >= WARN_APART - DUST
        if not is_apart and abs(points) <= WARN_SHARE * bench.band.width:
            continue
        warned.append(_mismatch(bottle, warmer, points))
        named = True
        if abs(warmer) >= OPEN_APART - DUST:
            left_open.add(bottle.where)
    return Temperatures(tuple(warned), frozenset(left_open), added if named else {})


def line_at_one_temperature(bench: Bench, added: Mapping[str, float]) -> tuple[float, float]:
    """Intercept and slope with all bottles as warm as the standards are on average.

    Parameters
    ----------
    bench : Bench.
    added : what the temperature of each bottle adds to its reading, by its place.

    Notes: the ordinary line whatever fit is asked for; it only says whether an answer would turn.
    Source: as `look`. Check: tests/calc/test_temperatures.py, against `correct_to_c`.
    """
    points = [(standard.percent, standard.bottle) for standard in bench.standards]
    if bench.include_water:
        points.append((0.0, bench.water))
    line = fit_line(
        np.array([percent for percent, _ in points]),
        np.array([at_one_temperature([bottle], added) for _, bottle in points]),
    )
    return float(line.intercept), float(line.slope)


def at_one_temperature(bottles: Sequence[Bottle], added: Mapping[str, float]) -> float:
    """Mean reading of some bottles with all of the bench as warm as the standards on average.

    Source: as `look`. Check: tests/calc/test_temperatures.py, against `correct_to_c`.
    """
    return float(ordered_mean([b.mean - added.get(b.where, 0.0) for b in bottles]))


def _corrections(bench: Bench, to_c: float, slope: float) -> list[Warned]:
    """Each bottle that a correction moved by a degree or more, with the size in points."""
    warned = []
    for bottle in bench.bottles:
        known = [r.temperature_c for r in bottle.readings if r.temperature_c is not None]
        farthest = max(abs(temperature - to_c) for temperature in known)
        if farthest < WARN_APART - DUST:
            continue
        points = shift(bottle) / slope
        values = {
            "apart": farthest,
            "to_c": to_c,
            "points": abs(points),
            "way": "up" if points > 0 else "down",
        }
        warned.append(Warned("temperature_corrected", bottle.where, values))
    return warned


def _without_temperature(bottles: tuple[Bottle, ...]) -> list[Warned]:
    if all(bottle.temperature_c is None for bottle in bottles):
        return [Warned("temperature_unknown", "$")]
    lacking = [bottle for bottle in bottles if bottle.misses_temperature]
    return [Warned("temperature_unknown", bottle.where) for bottle in lacking]


def _odd(bottles: tuple[Bottle, ...]) -> list[Warned]:
    """Temperatures that no bench has: most likely °F typed as °C."""
    return [
        Warned("temperature_odd", bottle.where, {"temperature": bottle.temperature_c})
        for bottle in bottles
        if bottle.temperature_c is not None
        and not COLDEST_BENCH <= bottle.temperature_c <= WARMEST_BENCH
    ]


def _per_c(method: str, bottle: Bottle) -> float:
    """What a degree more adds to a reading of this bottle."""
    return {
        "refractive_index": INDEX_PER_C,
        "brix": BRIX_PER_C,
        "conductivity": CONDUCTIVITY_PER_C * bottle.mean,
    }[method]


def _mismatch(bottle: Bottle, warmer: float, points: float) -> Warned:
    values = {
        "apart": abs(warmer),
        "side": "warmer" if warmer > 0 else "colder",
        "points": abs(points),
        "looks": "richer" if points > 0 else "leaner",
    }
    return Warned("temperature_mismatch", bottle.where, values)
