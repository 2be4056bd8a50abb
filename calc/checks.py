"""What the readings of a bench say against its own result: warnings, and what stays open by them.

Every check looks at numbers only and returns warnings; a result is never changed or withheld.
"""

import math
from collections.abc import Sequence
from functools import cache
from itertools import combinations_with_replacement, pairwise

from calc.acceptance import WORDS, limits
from calc.errors import Warned
from calc.form import Bench
from calc.inverse import instrument_sd
from calc.result import LackOfFit
from calc.stack import Subject, guess_of
from calc.student import MOST_DOF, coverage_factor
from calc.sums import squared

LEAST_PERCENTS = 3  # different percents in a line
SAME_PERCENT = 1e-9  # points, own choice: nearer percents count as one
COARSE_SHARE = 1 / 3  # step over band, common practice, no source
LEVEL = 0.05  # of the tests on the line, usual choice
DENSITY_APART_C = 5.0  # °C, own choice: below, a percent moves by a thousandth of itself
WATER_EXPANSION = 2.1e-4  # per K by volume near 20 °C, Eurachem QUAM, example A1
ALIKE_SHARE = 0.1  # of the band, own choice: bottles this near count as alike

Other = list[float] | None  # percent and side by the line with the other choice of water


def different_percents(percents: Sequence[float]) -> int:
    """How many percents there are, counting those within 1e-9 of the last one as the same."""
    ordered = sorted(percents)
    return 1 + sum(b - a > SAME_PERCENT for a, b in pairwise(ordered))


def on_resolution(bench: Bench, slope: float) -> list[Warned]:
    """Warn when one step of the instrument is over a third of the band."""
    step = bench.instrument.resolution / slope
    width = bench.band.width
    if step <= COARSE_SHARE * width:
        return []
    return [Warned("resolution_coarse", "$.instrument.resolution", {"step": step, "width": width})]


def on_density(bench: Bench) -> list[Warned]:
    """Warn when the density of the concentrate is of another temperature than the standards.

    Both liquids expand, so only the difference between them moves a percent; it is taken as much
    again as that of water at 20 °C, which no published table gives for concentrates.

    Source: common practice, no source; expansion of water as `calc.glassware.u_of_temperature`.
    Check: tests/calc/test_mixtures.py.
    """
    warm = [s.bottle.temperature_c for s in bench.standards if s.bottle.temperature_c is not None]
    if bench.densities is None or not bench.shared_doubt or not warm:
        return []
    at, read = bench.densities.temperature_c, sum(warm) / len(warm)
    if abs(at - read) < DENSITY_APART_C:
        return []
    values = {"at": at, "read": read, "share": 100 * WATER_EXPANSION * abs(at - read)}
    return [Warned("density_elsewhere", "$.densities.temperature_c", values)]


def on_order(bench: Bench) -> list[Warned]:
    """Warn of each bottle that reads lower than the next weaker mixture; water is always one."""
    standards = [(s.percent, s.bottle.mean, s.bottle.where) for s in bench.standards]
    rows = sorted([(0.0, bench.water.mean, bench.water.where), *standards])
    if all(a[1] <= b[1] for a, b in pairwise(rows)):
        return []
    warned = []
    weaker: tuple[float, float, str] | None = None  # highest reading of the percent before
    level = rows[:1]
    for row in rows[1:]:
        if row[0] - level[0][0] > SAME_PERCENT:
            weaker, level = max(level, key=lambda r: r[1]), []
        level.append(row)
        if weaker and row[1] < weaker[1]:
            values = {"percent": row[0], "weaker": weaker[0]}
            warned.append(Warned("not_monotonic", row[2], values))
    return warned


def on_straightness(t: float, dof: float) -> list[Warned]:
    """Warn of a bend: t test of the quadratic term, two-sided, 5 %.

    Needs 4 points; with fewer nothing can be said and nothing is. The scatter under t is never
    taken below the instrument's own, so that rounded readings that happen to lie on a parabola
    raise no alarm.

    Source: NIST StRD Pontius for the term. Check: check-values.json A-04, A-17.
    """
    if not dof >= 1 or abs(t) <= critical(dof, 1 - LEVEL):
        return []
    return [Warned("non_linear", "$.standards", {"level": LEVEL, "t": t, "dof": int(dof)})]


def on_outliers(places: Sequence[str], ts: Sequence[float]) -> list[Warned]:
    """Warn of a bottle off the line of the others: externally studentised, 5 % by Bonferroni.

    Needs 4 points. With 4 points only 1 degree of freedom is left and only a gross slip shows.

    Source: Cook and Weisberg (1982), section 2.2.2 (from memory). Check: tests/calc/test_line.py.
    """
    count = len(places)
    if count < 4:
        return []
    beyond = critical(count - 3, 1 - LEVEL / count)
    shared = {"critical": beyond, "level": LEVEL, "count": count}
    return [
        Warned("outlier", place, {"t": t, **shared})
        for place, t in zip(places, ts, strict=True)
        if abs(t) > beyond
    ]


def on_lack_of_fit(lack: LackOfFit) -> list[Warned]:
    """Warn when bottles lie off the line by more than their own repeated readings explain, 5 %.

    Source: calc.fit_checks.lack_of_fit. Check: tests/calc/test_fit_checks.py.
    """
    if lack.probability >= LEVEL:
        return []
    return [Warned("lack_of_fit", "$.standards", {"level": LEVEL, "f": lack.f})]


def on_repeats(bench: Bench) -> list[Warned]:
    """Warn of each bottle whose repeated readings lie farther apart than the instrument's own.

    A bubble, a prism that was not washed or lumps in the bottle look like that. The range is held
    against that of as many readings with the scatter guessed beforehand, 5 %, all pairs.

    Source: Bonferroni over the pairs of a difference of two readings. Check:
    tests/calc/test_checks.py.
    """
    sd = float(instrument_sd(bench.instrument.width, guess_of(bench)))
    warned = []
    for bottle in bench.dilute_bottles:
        if len(bottle.values) < 2:
            continue
        apart = max(bottle.values) - min(bottle.values)
        allowed = pair_factor(len(bottle.values)) * sd * math.sqrt(2)
        if apart > allowed:
            values = {"apart": apart, "allowed": allowed, "count": len(bottle.values)}
            warned.append(Warned("repeats_apart", bottle.where, values))
    return warned


def on_steadiness(bench: Bench, subject: Subject, reading_sd: float, slope: float) -> list[Warned]:
    """Warn when the bottles of one flow point lie farther apart than their readings scatter.

    The mean of bottles that were not alike says nothing about the proportioner. The scatter is what
    the bench has shown, and not less than the instrument states; a tenth of the band is let pass
    even where a fine instrument sees it, because no flow is as steady as that.

    Source: as `on_repeats`, between bottles. Check: tests/calc/test_checks.py.
    """
    sd = max(reading_sd, bench.instrument.repeatability or 0.0)
    means = [bottle.mean for bottle in subject.bottles]
    by_readings: dict[int, tuple[float, float]] = {}  # the lowest and highest mean decide
    for bottle in subject.bottles:
        low, high = by_readings.get(len(bottle.values), (bottle.mean, bottle.mean))
        by_readings[len(bottle.values)] = min(low, bottle.mean), max(high, bottle.mean)
    least = ALIKE_SHARE * bench.band.width * slope
    factor = pair_factor(len(means))
    step2 = squared(bench.instrument.width) / 12
    for (a, (low_a, high_a)), (b, (low_b, high_b)) in combinations_with_replacement(
        by_readings.items(), 2
    ):
        variance = squared(sd) * (1 / a + 1 / b) + 2 * step2
        allowed = max(factor * math.sqrt(variance), least)
        if max(high_a - low_b, high_b - low_a) > allowed:
            values = {
                "apart": (max(means) - min(means)) / slope,
                "allowed": allowed / slope,
                "count": len(means),
            }
            return [Warned("not_steady", subject.where, values)]
    return []


def pair_factor(count: int) -> float:
    """How many standard deviations of a difference the farthest of `count` alike may lie apart, at
    5 % shared over the pairs.

    Source: Student's t with as many degrees of freedom as a result may have. Check:
    tests/calc/test_checks.py.
    """
    return critical(MOST_DOF, 1 - LEVEL / (count * (count - 1) / 2)) if count > 1 else math.inf


def on_range(
    where: str, percent: float, interval: tuple[float, float], percents: Sequence[float]
) -> tuple[list[Warned], bool]:
    """Warn when a result lies outside the fitted points; True when that leaves it open.

    Beyond the last standard nobody has seen how the liquid behaves, nor below the weakest one.
    Just below the water point there is nothing left to see: such a sample holds no concentrate.
    Where the whole interval lies below 0 or above 100 % the reading itself must be wrong.
    """
    lowest, highest = min(percents), max(percents)
    beyond = max(lowest - percent, percent - highest)
    if beyond <= SAME_PERCENT:
        return [], False
    values = {"percent": percent, "beyond": beyond, "lowest": lowest, "highest": highest}
    impossible = interval[1] < 0 or interval[0] > 100
    left_open = percent > highest or lowest > SAME_PERCENT or impossible
    return [Warned("extrapolation", where, values)], left_open


def on_water(where: str, percent: float, side: int, other: Other, bench: Bench) -> list[Warned]:
    """Warn when the limits change with the other choice about the water point.

    other is percent and side by the line with that choice, None when there is no such line.
    """
    if other is None or other[1] == side:
        return []
    values = {
        "used": with_or_without(bench),
        "percent": percent,
        "limits": WORDS[side],
        "other_percent": other[0],
        "other_limits": WORDS[int(other[1])],
    }
    return [Warned("water_decides", where, values)]


def on_warmth(where: str, percent: float, at_one: float, bench: Bench) -> list[Warned]:
    """Warn when the limits change with what the differences in temperature are worth.

    at_one is the percent as it would about be with all bottles at one temperature.
    """
    seen, then = limits(percent, bench.band), limits(at_one, bench.band)
    if seen == then:
        return []
    values = {"percent": percent, "limits": seen, "at_one": at_one, "limits_at_one": then}
    return [Warned("temperature_decides", where, values)]


def with_or_without(bench: Bench) -> str:
    return "With" if bench.include_water else "Without"


@cache
def critical(dof: float, coverage: float) -> float:
    """Two-sided factor of Student's t, kept because few are ever asked for.

    Source: calc.student.coverage_factor. Check: check-values.json A-12.
    """
    return float(coverage_factor(dof, coverage))
