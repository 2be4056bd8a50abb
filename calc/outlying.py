"""Whether one result stands apart from the others: asked about, never struck out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calc.arguments import not_negative, numbers, within
from calc.errors import CalcError, quoted
from calc.student import coverage_factor
from calc.sums import ordered_mean, ordered_sum

LEVEL = 0.05  # usual choice, as for the bottles of a line
DUST = 1e-12  # of the values, own choice: 0.1 + 0.2 beside 0.3 stands nowhere
FEWEST = 3  # values; of two, neither is the odd one
EITHER, HIGHEST, LOWEST = "either", "highest", "lowest"


@dataclass(frozen=True, slots=True)
class Outlying:
    """The value that lies farthest out, and whether that is more than chance would do."""

    index: int  # its place in the list
    g: float  # distance from the mean over the standard deviation
    critical: float
    stands_apart: bool


def outlying(
    values: Any, side: str = EITHER, level: float = LEVEL, least_sd: float = 0.0
) -> Outlying:
    """Whether the farthest of some values of one thing stands apart from the others.

    Parameters
    ----------
    values : array_like, at least 3, one unit. Repeats of one bottle, or results of one regime.
    side : "either", "highest" or "lowest".
    level : float, 0.001 to 0.2. Chance of a false alarm while the scatter is normal.
    least_sd : float, >= 0, same unit. The scatter never counts as smaller than this: four equal
        readings and one a step off are no alarm.

    Returns
    -------
    Outlying. It says nothing about why; a second slip of the same size can hide the first.

    Raises: not_a_number, not_finite, out_of_range, too_few_points, unknown_choice.
    Notes: G = |x - mean|/s. For one value only: taking it out and asking again finds too many.
    Source: Grubbs, Technometrics 11 (1969) 1; ISO 5725-2; NIST/SEMATECH e-Handbook 1.3.5.17.1.
    Check: fixtures/reference/check-values.json H-06.
    """
    if side not in (EITHER, HIGHEST, LOWEST):
        choices = f'"{EITHER}", "{HIGHEST}", "{LOWEST}"'
        raise CalcError("unknown_choice", "side", got=quoted(str(side)), choices=choices)
    listed = [float(value) for value in numbers("values", list(values))]
    critical = outlying_critical(len(listed), side, level)
    middle = float(ordered_mean(listed))
    above = [value - middle for value in listed]
    distances = {EITHER: [abs(d) for d in above], HIGHEST: above, LOWEST: [-d for d in above]}[side]
    index = max(range(len(listed)), key=distances.__getitem__)
    sd = max(_sd(listed, middle), float(not_negative("least_sd", least_sd)))
    g = distances[index] / sd if sd > DUST * max(map(abs, listed)) else 0.0
    return Outlying(index, g, critical, g > critical)


def outlying_critical(count: int, side: str = EITHER, level: float = LEVEL) -> float:
    """How many standard deviations the farthest of `count` values may lie from their mean.

    Parameters
    ----------
    count : int, at least 3.
    side : "either", or one side that was chosen before the values were seen.
    level : float, 0.001 to 0.2.

    Returns
    -------
    Largest G that chance makes, no unit.

    Raises: not_a_number, not_finite, out_of_range, too_few_points.
    Notes: (n - 1)/√n √(t²/(n - 2 + t²)), t the quantile of Student's t with n - 2 degrees of
    freedom that leaves level/n above it, or level/(2n) where either side counts.
    Source: Grubbs, Technometrics 11 (1969) 1. Check: fixtures/reference/check-values.json H-07,
    H-11.
    """
    if count < FEWEST:
        raise CalcError("too_few_points", "values", count=count, least=FEWEST)
    chance = float(within("level", level, 0.001, 0.2, "0.001 to 0.2"))
    above = chance / count if side == EITHER else 2 * chance / count
    t2 = float(coverage_factor(count - 2, 1 - above)) ** 2
    return (count - 1) / math.sqrt(count) * math.sqrt(t2 / (count - 2 + t2))


def _sd(values: Sequence[float], middle: float) -> float:
    squares = float(ordered_sum([(value - middle) ** 2 for value in values]))
    return math.sqrt(squares / (len(values) - 1))
