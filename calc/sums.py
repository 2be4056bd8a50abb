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
