"""Many trends looked at together: which of them chance alone would hardly have given."""

from typing import Any

from scipy.stats import false_discovery_control

from calc.arguments import within


def adjusted(chances: Any) -> list[float]:
    """Chances of many series, each raised by how many were looked at.

    Parameters
    ----------
    chances : array_like, two-sided, 0 to 1; one for each series in which a trend was looked for.

    Returns
    -------
    One for each, in the same order. Of all series whose adjusted chance is at most q, a share of q
    or less is expected to have no trend.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: holds for independent series, and for those that lean on each other the same way, as
    devices do that were read by the same meter on the same days.
    Source: Benjamini and Hochberg, J. R. Statist. Soc. B 57 (1995) 289-300; Benjamini and
    Yekutieli, Ann. Statist. 29 (2001) 1165-1188 for series that lean on each other.
    Check: tests/calc/test_discovery.py.
    """
    values = within("chances", chances, 0, 1, "a chance from 0 to 1")
    return [float(value) for value in false_discovery_control(values)] if len(values) else []
