"""The line with the other choice about the water point, to see what hangs on that choice."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from calc.acceptance import side
from calc.batch import Benches, line_of
from calc.checks import LEAST_PERCENTS, different_percents
from calc.form import Bench
from calc.line import Line
from calc.stack import fit_percents


@dataclass(frozen=True, slots=True)
class OtherLine:
    """Where a test has too few percents for it, `there` is false and the rest means nothing."""

    there: Any  # shape (B,)
    line: Line
    percent: Any  # of each result, shape (k, B)
    side: Any  # of the band on which that lies


def other_line(benches: Sequence[Bench], arrays: Benches, fit: str) -> OtherLine:
    """With water where the test goes without, and the other way round.

    Source: none, it fits the same points but one. Check: tests/calc/test_evaluate.py.
    """
    percents = [fit_percents(bench, not bench.include_water) for bench in benches]
    there = np.array([different_percents(own) >= LEAST_PERCENTS for own in percents])
    used = arrays.used.copy()
    used[0] = np.where(there, 1 - used[0], used[0])
    line = line_of(replace(arrays, used=used), fit)
    percent = (arrays.result_reading - line.intercept) / line.slope
    return OtherLine(there, line, percent, side(percent, arrays.lower, arrays.upper))
