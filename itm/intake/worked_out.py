"""Rows of readings that nobody calls a mean and that are the mean of the readings above them."""

from collections.abc import Iterable
from decimal import Decimal
from typing import NamedTuple

LEAST_ABOVE = 2  # readings: one alone is equalled by a repeat
LEAST_BOTTLES = 2  # in which it has to be so; own choice: in one bottle it is likely by chance
LEAST_BOTTLES_LONG = 3  # where each reading has a row, and the row of the mean names no row


class Held(NamedTuple):
    """One reading in the order of the table; `value` has the decimals that were typed."""

    row: int
    bottle: str
    value: Decimal


def mean_rows(readings: Iterable[Held]) -> list[int]:
    """Rows that hold a reading of several bottles each, and of each the mean of those above.

    Above is counted from the last such row on, since a table may hold several blocks.
    """
    rows: dict[int, list[Held]] = {}
    for one in readings:
        rows.setdefault(one.row, []).append(one)
    above: dict[str, list[Decimal]] = {}
    out = []
    for row, held in rows.items():
        if len(held) >= LEAST_BOTTLES and _all_means(held, above):
            out.append(row)
            above = {}
            continue
        for one in held:
            above.setdefault(one.bottle, []).append(one.value)
    return out


def mean_readings(readings: Iterable[Held]) -> list[int]:
    """The same where each reading has a row: rows of the last reading of every bottle, if in all
    of them it is the mean of the others."""
    bottles: dict[str, list[Held]] = {}
    for one in readings:
        bottles.setdefault(one.bottle, []).append(one)
    repeated = [held for held in bottles.values() if len(held) > LEAST_ABOVE]
    above = {held[0].bottle: [one.value for one in held[:-1]] for held in repeated}
    last = [held[-1] for held in repeated]
    if len(last) >= LEAST_BOTTLES_LONG and _all_means(last, above):
        return sorted(one.row for one in last)
    return []


def _all_means(held: list[Held], above: dict[str, list[Decimal]]) -> bool:
    if not all(len(above.get(one.bottle, ())) >= LEAST_ABOVE for one in held):
        return False
    if not all(_is_mean(one.value, above[one.bottle]) for one in held):
        return False
    # Where all are alike, their mean is what the next reading would be as well.
    return any(len(set(above[one.bottle])) > 1 for one in held)


def _is_mean(value: Decimal, above: list[Decimal]) -> bool:
    """To half of its last decimal."""
    half = Decimal(1).scaleb(int(value.as_tuple().exponent)) / 2
    return abs(sum(above, Decimal(0)) / len(above) - value) <= half
