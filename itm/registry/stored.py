"""What a store holds by its book. Pure: rows in, figures out, no query."""

import math
from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from itm.core.figures import day
from itm.registry.contents import amount
from itm.registry.models import StoreMovement

DUST = 1e-9  # m³ that is dust of the arithmetic and no concentrate


class StoreLine(NamedTuple):
    """One movement with what is in the store after it, in m³."""

    movement: StoreMovement
    left: float


def store_book(movements: Iterable[StoreMovement]) -> list[StoreLine]:
    """In the order of the days; what was withdrawn counts for nothing. Below zero stays below."""
    lines, left = [], 0.0
    for one in sorted((m for m in movements if m.withdrawn_at is None), key=_order):
        left += one.volume if one.goes_in else -one.volume
        if abs(left) < DUST:
            left = 0.0
        lines.append(StoreLine(one, left))
    return lines


def in_store(lines: Sequence[StoreLine], on: date) -> float:
    """m³ at the end of that day."""
    until = [line.left for line in lines if line.movement.moved_on <= on]
    return until[-1] if until else 0.0


def shortage(lines: Sequence[StoreLine]) -> str:
    """What the first day on which the book cannot have been says; empty where there is none."""
    before = 0.0
    for movement, left in lines:
        if left < 0:
            return (
                f"On {day(movement.moved_on)} the store held "
                f"{amount(before, movement.volume_typed)} by what is noted, so "
                f"{movement.volume_typed} cannot have gone out of it."
            )
        before = left
    return ""


def _order(movement: StoreMovement) -> tuple[date, int, float]:
    return movement.moved_on, movement.position, movement.pk or math.inf
