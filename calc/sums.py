"""Sums in a fixed order, so that one test and a million of them give the same bits."""

from typing import Any

import numpy as np


def ordered_sum(values: Any) -> Any:
    """Sum over the first axis, first to last, one addition after the other.

    `np.sum` splits long or wide arrays differently, so the last digits would depend on how many
    tests are computed at once.
    """
    values = np.asarray(values, dtype=float)
    total = values[0]
    for row in values[1:]:
        total = total + row
    return total


def ordered_mean(values: Any) -> Any:
    """Mean over the first axis by `ordered_sum`."""
    return ordered_sum(values) / len(values)


def squared(number: float) -> float:
    """Square of one number; beyond the range of numbers it is infinite, as in an array.

    A power of a plain float would raise there, and one test would end the whole batch.
    """
    return number * number
