"""Slope and monotonic trend of few results, by ranks: exact, and hard to move by one bad result."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from statistics import median
from typing import Any

from calc.arguments import numbers
from calc.errors import CalcError

LEVEL = 0.05  # two-sided, own choice: the level of every interval in this engine
EXACT_UP_TO = 60  # results, own choice: beyond it the normal approximation is exact enough
FEWEST = 5  # results; with 4 the smallest two-sided chance is 2/4! = 0.083, above the level


@dataclass(frozen=True, slots=True)
class MannKendall:
    """Pairs that rise less pairs that fall, and how rarely chance alone gives that much."""

    s: int
    variance: float
    z: float  # with continuity correction
    p_normal: float  # two-sided
    p_exact: float | None  # two-sided; None beyond 60 results

    @property
    def p(self) -> float:
        """The exact two-sided chance where there is one, else the normal one.

        Source: Gilbert 1987, 16.4. Check: fixtures/reference/check-values.json H-09.
        """
        return self.p_normal if self.p_exact is None else self.p_exact


@dataclass(frozen=True, slots=True)
class TheilSen:
    """Median of the slopes of all pairs; low and high are None where there are too few results."""

    slope: float
    low: float | None  # two-sided 95 %
    high: float | None


def tail_of_s(s: int, ties: tuple[int, ...]) -> float:
    """Chance that Kendall's S is at least s when every order of the results is as likely.

    Parameters
    ----------
    s : int.
    ties : sizes of the groups of equal values, their sum is the number of results; all 1 without
        ties.

    Returns
    -------
    One-sided exact chance, 0 to 1.

    Notes: by inversions; orders of a series with ties are counted by the Gaussian multinomial
    [n]!/Π[t]!, divided out in whole numbers. S = pairs not tied - 2 × inversions.
    Source: Kendall, Rank Correlation Methods, chapter 5 (from memory); Gilbert 1987, table A18.
    Check: fixtures/reference/check-values.json H-03.
    """
    orders = _orders_by_inversions(ties)
    pairs = len(orders) - 1
    return sum(n for i, n in enumerate(orders) if pairs - 2 * i >= s) / sum(orders)


def mann_kendall(values: Any) -> MannKendall:
    """Whether a series in the order of time rises or falls more often than chance would.

    Parameters
    ----------
    values : array_like, at least 2, any unit, at different times, first to last.

    Returns
    -------
    MannKendall.

    Raises: not_a_number, not_finite, too_few_points.
    Notes: ties among the values count as neither rising nor falling; variance and exact chances
    both take them into account. Needs no equal spacing and no normal scatter. Results that depend
    on their neighbours make the chance too small.
    Source: Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), 16.4. Check:
    fixtures/reference/check-values.json H-01, H-09.
    """
    series = _series("values", values, least=2)
    n = len(series)
    s = sum((b > a) - (b < a) for a, b in combinations(series, 2))
    ties = _ties(series)
    loss = sum(t * (t - 1) * (2 * t + 5) for t in ties)
    variance = (n * (n - 1) * (2 * n + 5) - loss) / 18
    z = math.copysign(max(abs(s) - 1, 0), s) / math.sqrt(variance) if variance else 0.0
    exact = min(1.0, 2 * tail_of_s(abs(s), ties)) if n <= EXACT_UP_TO else None
    if exact is not None and s == 0:
        exact = 1.0
    return MannKendall(s, variance, z, math.erfc(abs(z) / math.sqrt(2)), exact)


def theil_sen(times: Any, values: Any) -> TheilSen:
    """Robust slope of a series with the interval that its ranks allow.

    Parameters
    ----------
    times : array_like, at least 2, all different, any order. Any unit.
    values : array_like, as many, any unit.

    Returns
    -------
    TheilSen, unit of values per unit of times. Without an interval below 5 results: there the
    widest interval that ranks can form, from the lowest to the highest slope, covers less than
    95 %.

    Raises: not_a_number, not_finite, too_few_points, shapes_differ, same_time, beyond_numbers.
    Notes: interval from the m-th lowest to the m-th highest slope, m the largest number for which
    the chance of fewer than m inversions is at most 2.5 %. Equal values make it wider than needed.
    Source: Sen, J. Am. Stat. Assoc. 63 (1968) 1379; Helsel and Hirsch, USGS TM 4-A3, chapter 10.
    Check: fixtures/reference/check-values.json H-01, H-02.
    """
    x, y = _series("times", times, least=2), _series("values", values, least=2)
    if len(x) != len(y):
        raise CalcError("shapes_differ", "values")
    if len(set(x)) < len(x):
        raise CalcError("same_time", "times")
    points = sorted(zip(x, y, strict=True))
    slopes = sorted((b[1] - a[1]) / (b[0] - a[0]) for a, b in combinations(points, 2))
    if not all(math.isfinite(slope) for slope in slopes):
        raise CalcError("beyond_numbers", "values")
    m = slopes_cut_off(len(points))
    if m == 0:
        return TheilSen(median(slopes), None, None)
    return TheilSen(median(slopes), slopes[m - 1], slopes[-m])


def slopes_cut_off(n: int) -> int:
    """Which slope from each end bounds the 95 % interval of n results; 0 when none does.

    Parameters
    ----------
    n : int, >= 2. Results at different times.

    Returns
    -------
    m, counted from 1.

    Notes: largest m with P(inversions <= m - 1) <= 2.5 %; beyond 60 results by the normal
    approximation, m = ⌊(pairs - z √variance)/2⌋.
    Source: Hollander and Wolfe, Nonparametric Statistical Methods, 9.3 (from memory). Check:
    tests/calc/test_kendall.py.
    """
    if n > EXACT_UP_TO:
        half = 1.959964 * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
        return max(int((n * (n - 1) / 2 - half) / 2), 1)
    return cut_off(_orders_by_inversions((1,) * n))


def cut_off(counts: Sequence[int]) -> int:
    """Largest m for which the first m counts hold at most 2.5 % of all of them.

    Source: interval by order statistics, Hollander and Wolfe (from memory). Check:
    tests/calc/test_kendall.py.
    """
    allowed, below, m = sum(counts) * LEVEL / 2, 0, 0
    for count in counts:
        below += count
        if below > allowed:
            return m
        m += 1
    return m


def _series(where: str, values: Any, least: int) -> list[float]:
    series = [float(value) for value in numbers(where, list(values))]
    if len(series) < least:
        raise CalcError("too_few_points", where, count=len(series), least=least)
    return series


def _ties(series: Sequence[float]) -> tuple[int, ...]:
    return tuple(sorted(Counter(series).values()))


@lru_cache(maxsize=256)
def _orders_by_inversions(ties: tuple[int, ...]) -> tuple[int, ...]:
    """How many orders of a series have 0, 1, 2 … pairs that fall; whole numbers."""
    counts = [1]
    for size in range(2, sum(ties) + 1):
        counts = _times(counts, size)
    for tie in ties:
        for size in range(2, tie + 1):
            counts = _over(counts, size)
    return tuple(counts)


def _times(counts: list[int], size: int) -> list[int]:
    """Polynomial times 1 + q + … + q^(size - 1)."""
    product, window = [], 0
    for i in range(len(counts) + size - 1):
        window += counts[i] if i < len(counts) else 0
        window -= counts[i - size] if i >= size else 0
        product.append(window)
    return product


def _over(counts: list[int], size: int) -> list[int]:
    """Polynomial over 1 + q + … + q^(size - 1), which divides it without a rest."""
    quotient: list[int] = []
    window = 0
    for i in range(len(counts) - size + 1):
        term = counts[i] - window
        quotient.append(term)
        window += term - (quotient[i - size + 1] if i >= size - 1 else 0)
    return quotient
