"""Figures of the register that may be right and are more often a slip of unit or digit: said on the
page of the thing until they are put right, and asked about in a file. They refuse nothing."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from itm.registry.models import ConcentrateLot, FoamSystem, Instrument, Proportioner, Tank

# Own choices, no source. What a tank cannot give is its dead volume, some percent of it; the
# largest foam stores of refineries hold some hundred m³; concentrates are made for 1, 3 and 6 %,
# few for less, and nothing in fixed systems for more.
LEAST_USABLE = 0.2
MOST_M3 = 500.0
MOST_PERCENT = Decimal(6)
MOST_TURNDOWN = 50.0
# Makers state some steps of the display; a meter with a fine display may scatter over more.
MOST_STEPS = 50


def odd(row: Any) -> list[tuple[str, str]]:
    """Field and sentence of each; nothing for kinds of things that nothing is known of."""
    if isinstance(row, Tank):
        return list(_of_tank(row))
    if isinstance(row, Proportioner | ConcentrateLot):
        return list(_of_percent(row.nominal_percent))
    if isinstance(row, FoamSystem):
        return list(_of_system(row))
    if isinstance(row, Instrument):
        return list(_of_instrument(row))
    return []


def _of_tank(row: Tank) -> Iterator[tuple[str, str]]:
    if row.capacity > MOST_M3:
        yield (
            "capacity",
            f"{row.capacity_typed} is more than the {MOST_M3:.0f} m³ that a large foam store "
            "holds: is the unit right?",
        )
    if row.usable_volume < LEAST_USABLE * row.capacity:
        yield (
            "usable_volume",
            f"Usable is {row.usable_volume_typed} of {row.capacity_typed}, "
            f"{100 * row.usable_volume / row.capacity:.3g} %: is a unit or a digit wrong? Minutes "
            "of foam are worked out from it.",
        )


def _of_percent(nominal: Decimal) -> Iterator[tuple[str, str]]:
    if nominal > MOST_PERCENT:
        yield (
            "nominal_percent",
            f"{nominal.normalize():f} % is more than the {MOST_PERCENT} % that concentrates are "
            "made for: is the point in its place? Tests are judged by it.",
        )


def _of_system(row: FoamSystem) -> Iterator[tuple[str, str]]:
    if row.design_flow > MOST_TURNDOWN * row.minimum_flow:
        yield (
            "design_flow",
            f"The design flow is {row.design_flow / row.minimum_flow:.0f} times the minimum flow: "
            "is the unit of one of them right?",
        )


def _of_instrument(row: Instrument) -> Iterator[tuple[str, str]]:
    if row.repeatability is not None and row.repeatability > MOST_STEPS * row.resolution:
        unit = f" {row.unit}" if row.unit else ""
        yield (
            "repeatability",
            f"A repeatability of {row.repeatability.normalize():f}{unit} is "
            f"{row.repeatability / row.resolution:,.0f} steps of its display "
            f"({row.resolution.normalize():f}{unit}): is it in the unit of the instrument, and the "
            "point in its place? Readings are held against each other by it.",
        )
