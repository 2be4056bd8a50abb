"""What the readings of a bench say against its own result: warnings, and what stays open by them.

Every check looks at numbers only and returns warnings; a result is never changed or withheld.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from calc.acceptance import limits
from calc.errors import Warned
from calc.form import Bench, Bottle
from calc.line import Line, curvature, studentised_residuals
from calc.student import coverage_factor
from calc.sums import ordered_mean

SAME_PERCENT = 1e-9  # points, own choice: nearer percents count as one
WARN_APART, OPEN_APART = 1.0, 3.0  # °C, common practice, no source
DUST = 1e-9  # °C, own choice: 21.1 - 20.1 must count as 1
COARSE_SHARE = 1 / 3  # step over band, common practice, no source
LEVEL = 0.05  # of the tests on the line, usual choice

# Change of a reading per °C that the bottle is warmer.
INDEX_PER_C = -1.0e-4  # -; mean of -0.88e-4 and -1.05e-4, check-values B-08 (IAPWS R9-97)
BRIX_PER_C = -0.065  # % Brix; -0.32 from 20 to 15 °C turned round, check-values B-05 (OIV)
CONDUCTIVITY_PER_C = 0.02  # of the reading; 0.019 to 0.020 in check-values C-09 (CRC Handbook)


@dataclass(frozen=True, slots=True)
class FitPoint:
    """One bottle of the fit."""

    where: str
    percent: float
    reading: float


def fit_points(bench: Bench, with_water: bool) -> list[FitPoint]:
    """Bottle means that the line goes through, lean to rich as given, water first."""
    points = [FitPoint(s.bottle.where, s.percent, s.bottle.mean) for s in bench.standards]
    return [FitPoint("$.water", 0.0, bench.water.mean), *points] if with_water else points


def different_percents(points: list[FitPoint]) -> int:
    """How many percents there are, counting those within 1e-9 of the last one as the same."""
    percents = sorted(point.percent for point in points)
    return 1 + sum(b - a > SAME_PERCENT for a, b in pairwise(percents))


def on_resolution(bench: Bench, line: Line) -> list[Warned]:
    """Warn when one step of the instrument is over a third of the band."""
    step = bench.instrument.resolution / float(line.slope)
    width = float(bench.band.upper - bench.band.lower)
    if step <= COARSE_SHARE * width:
        return []
    return [Warned("resolution_coarse", "$.instrument.resolution", {"step": step, "width": width})]


def on_temperature(bench: Bench, line: Line) -> tuple[list[Warned], set[str]]:
    """Warnings on temperature, and the places of the bottles whose temperature leaves it open.

    Each bottle is held against the mean of the standards' bottle means. The undiluted concentrate
    is not part of the result and not looked at.
    """
    bottles = [
        bench.water,
        *(s.bottle for s in bench.standards),
        *(s.bottle for s in bench.samples),
    ]
    warned = _without_temperature(bottles)
    known = [t for s in bench.standards if (t := s.bottle.temperature_c) is not None]
    if bench.instrument.temperature_compensated or not known:
        return warned, set()
    middle = float(ordered_mean(known))
    left_open = set()
    for bottle in bottles:
        temperature = bottle.temperature_c
        if temperature is None or abs(temperature - middle) < WARN_APART - DUST:
            continue
        warned.append(_mismatch(bench.method, bottle, temperature - middle, float(line.slope)))
        if abs(temperature - middle) >= OPEN_APART - DUST:
            left_open.add(bottle.where)
    return warned, left_open


def _without_temperature(bottles: list[Bottle]) -> list[Warned]:
    if all(bottle.temperature_c is None for bottle in bottles):
        return [Warned("temperature_unknown", "$")]
    lacking = [bottle for bottle in bottles if bottle.misses_temperature]
    return [Warned("temperature_unknown", bottle.where) for bottle in lacking]


def _mismatch(method: str, bottle: Bottle, warmer: float, slope: float) -> Warned:
    per_c = {
        "refractive_index": INDEX_PER_C,
        "brix": BRIX_PER_C,
        "conductivity": CONDUCTIVITY_PER_C * bottle.mean,
    }[method]
    points = per_c * warmer / slope
    values = {
        "apart": abs(warmer),
        "side": "warmer" if warmer > 0 else "colder",
        "points": abs(points),
        "looks": "richer" if points > 0 else "leaner",
    }
    return Warned("temperature_mismatch", bottle.where, values)


def on_order(bench: Bench) -> list[Warned]:
    """Warn of each bottle that reads lower than the next weaker mixture; water is always one."""
    points = sorted(fit_points(bench, with_water=True), key=lambda point: point.percent)
    warned = []
    weaker: FitPoint | None = None  # highest reading of the percent before
    level = [points[0]]
    for point in points[1:]:
        if point.percent - level[0].percent > SAME_PERCENT:
            weaker, level = max(level, key=lambda p: p.reading), []
        level.append(point)
        if weaker and point.reading < weaker.reading:
            values = {"percent": point.percent, "weaker": weaker.percent}
            warned.append(Warned("not_monotonic", point.where, values))
    return warned


def on_straightness(points: list[FitPoint], least_sd: float) -> list[Warned]:
    """Warn of a bend: t test of the quadratic term, two-sided, 5 %.

    Needs 4 points; with fewer nothing can be said and nothing is. The scatter is never taken below
    the instrument's own, so that rounded readings that happen to lie on a parabola raise no alarm.

    Source: NIST StRD Pontius for the term. Check: check-values.json A-04, A-17.
    """
    if len(points) < 4:
        return []
    bend = curvature([p.percent for p in points], [p.reading for p in points])
    sd = max(float(bend.residual_sd), least_sd)
    t, dof = float(bend.term * np.sqrt(bend.spread)) / sd, bend.degrees_of_freedom
    if abs(t) <= coverage_factor(dof, 1 - LEVEL):
        return []
    return [Warned("non_linear", "$.standards", {"level": LEVEL, "t": t, "dof": dof})]


def on_outliers(points: list[FitPoint], line: Line, least_sd: float) -> list[Warned]:
    """Warn of a bottle off the line of the others: externally studentised, 5 % by Bonferroni.

    Needs 4 points. With 4 points only 1 degree of freedom is left and only a gross slip shows.

    Source: Cook and Weisberg (1982), section 2.2.2 (from memory). Check: tests/calc/test_line.py.
    """
    count = len(points)
    if count < 4:
        return []
    t = studentised_residuals(
        [p.percent for p in points], [p.reading for p in points], line, least_sd
    )
    critical = float(coverage_factor(count - 3, 1 - LEVEL / count))
    return [
        Warned(
            "outlier",
            point.where,
            {"t": float(one), "critical": critical, "level": LEVEL, "count": count},
        )
        for point, one in zip(points, t, strict=True)
        if abs(one) > critical
    ]


def on_range(where: str, percent: float, points: list[FitPoint]) -> tuple[list[Warned], bool]:
    """Warn when a result lies outside the fitted points; True when that leaves it open.

    Beyond the last standard nobody has seen how the liquid behaves, nor below the weakest one.
    Below the water point there is nothing left to see: such a sample holds no concentrate.
    """
    lowest, highest = min(p.percent for p in points), max(p.percent for p in points)
    beyond = max(lowest - percent, percent - highest)
    if beyond <= SAME_PERCENT:
        return [], False
    values = {"percent": percent, "beyond": beyond, "lowest": lowest, "highest": highest}
    left_open = percent > highest or lowest > SAME_PERCENT
    return [Warned("extrapolation", where, values)], left_open


def on_water(where: str, percent: float, other_percent: float | None, bench: Bench) -> list[Warned]:
    """Warn when the limits change with the other choice about the water point.

    other_percent is what the line with that choice gives, None when there is no such line.
    """
    if other_percent is None:
        return []
    stated, otherwise = limits(percent, bench.band), limits(other_percent, bench.band)
    if stated == otherwise:
        return []
    values = {
        "used": with_or_without(bench),
        "percent": percent,
        "limits": stated,
        "other_percent": other_percent,
        "other_limits": otherwise,
    }
    return [Warned("water_decides", where, values)]


def with_or_without(bench: Bench) -> str:
    return "With" if bench.include_water else "Without"
