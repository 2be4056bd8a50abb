"""A step between two groups of results, by ranks: exact for few of them, with ties."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, groupby
from math import comb
from statistics import median

from calc.errors import CalcError
from calc.kendall import cut_off

MOST = 60  # results, own choice: the exact count stays within half a second


@dataclass(frozen=True, slots=True)
class Shift:
    """Middle of all differences between two groups, and how rarely chance alone gives that much."""

    middle: float
    low: float | None  # two-sided 95 %; None where there are too few results
    high: float | None
    p: float  # two-sided, exact


def shift_between(before: Sequence[float], after: Sequence[float]) -> Shift:
    """How far a second group of results lies above a first one.

    Parameters
    ----------
    before, after : at least 1 each, together at most 60, finite, one unit.

    Returns
    -------
    Shift, after less before.

    Raises: too_few_points, too_many_points.
    Notes: rank sum of the second group over all ways to choose it, middle ranks for ties. The
    interval is from the m-th lowest to the m-th highest difference; no interval where even the
    widest covers less than 95 %, as with 3 against 4 results. A drift within the groups looks like
    a step too.
    Source: Wilcoxon 1945, Mann and Whitney 1947, Hodges and Lehmann 1963, as in Hollander and
    Wolfe, Nonparametric Statistical Methods, chapter 4 (from memory). Check:
    tests/calc/test_ranks.py.
    """
    for where, group in (("before", before), ("after", after)):
        if not group:
            raise CalcError("too_few_points", where, count=0, least=1)
    many, few = len(before) + len(after), min(len(before), len(after))
    if many > MOST:
        raise CalcError("too_many_points", "after", count=many, most=MOST)
    differences = sorted(b - a for a in before for b in after)
    untied = rank_sums(tuple(range(2, 2 * many + 1, 2)), few)
    m = cut_off([ways for _, ways in sorted(untied.items())])
    return Shift(
        middle=median(differences),
        low=differences[m - 1] if m else None,
        high=differences[-m] if m else None,
        p=_chance(before, after),
    )


def _chance(before: Sequence[float], after: Sequence[float]) -> float:
    ranks = dict(zip(*_doubled_ranks([*before, *after]), strict=True))
    pool = tuple(sorted(ranks[value] for value in [*before, *after]))
    small = min(before, after, key=len)
    ways = rank_sums(pool, len(small))
    expected = len(small) * (len(pool) + 1)  # of the doubled ranks
    apart = abs(sum(ranks[value] for value in small) - expected)
    rare = sum(count for total, count in ways.items() if abs(total - expected) >= apart)
    return rare / comb(len(pool), len(small))


def _doubled_ranks(values: Sequence[float]) -> tuple[list[float], list[int]]:
    """Each different value with twice its middle rank, a whole number."""
    groups = [(value, len(list(group))) for value, group in groupby(sorted(values))]
    ends = list(accumulate(size for _, size in groups))
    return (
        [value for value, _ in groups],
        [2 * end - size + 1 for (_, size), end in zip(groups, ends, strict=True)],
    )


@lru_cache(maxsize=64)
def rank_sums(ranks: tuple[int, ...], chosen: int) -> dict[int, int]:
    """In how many ways a number of ranks can be chosen, by their sum.

    Source: counting. Check: tests/calc/test_ranks.py.
    """
    ways: list[dict[int, int]] = [defaultdict(int) for _ in range(chosen + 1)]
    ways[0][0] = 1
    for rank in ranks:
        for size in range(chosen, 0, -1):
            for total, count in list(ways[size - 1].items()):
                ways[size][total + rank] += count
    return dict(ways[chosen])
