"""Quantities as the reader of a page reads them: `measures` says in which units.

What was typed in the reader's own units is shown as typed. Anything else is converted, with the
typed text beside it, because that is what stands in the record.
"""

import math
from collections.abc import Mapping
from decimal import Decimal

from itm.core.errors import Refused
from itm.core.figures import thin
from itm.core.measures import FAMILIES, KINDS, LENGTH, OFFSETS, TEMPERATURE, own_units, reader
from itm.core.quantities import apart, parse_decimal

DIGITS = 4  # of a figure that was worked out
# Laboratory glass is marked in millilitres everywhere; nobody pours a standard in gallons.
AS_MARKED = ("mL",)


def quantity(typed: str, how: str = "typed") -> str:
    """A quantity as typed, for example “1900 L/min”, in the reader's units; `how` says how the text
    came about that stands beside it.

    Text that is no number with a unit we know stays as it is.
    """
    number, unit = apart(typed, [unit for kind in KINDS for unit in kind])
    kind = next((kind for kind in KINDS if unit in kind), None)
    if kind is None or unit in own_units() or unit in AS_MARKED:
        return typed
    try:
        value = float(parse_decimal(number))
    except Refused:
        return typed
    si = (value - OFFSETS.get(unit, 0.0)) * kind[unit]
    return f"{worked_out(si, unit_of(kind, si))} ({how} {typed})"


def unit_of(kind: Mapping[str, float], si: float) -> str:
    """The reader's usual unit of a kind."""
    usual = next(some for some in FAMILIES[reader()] if some[0] in kind)
    if kind is LENGTH and abs(si) < kind[usual[0]]:
        return usual[1]
    return usual[0]


def like(typed: str) -> str:
    """An example of how to write a figure that goes with a typed one: itself where the reader reads
    its unit, otherwise one with the reader's usual unit."""
    _, unit = apart(typed, [unit for kind in KINDS for unit in kind])
    if not unit or unit in own_units():
        return typed
    kind = next(kind for kind in KINDS if unit in kind)
    return f"0 {unit_of(kind, math.inf)}"


def worked_out(si: float, unit: str) -> str:
    """Four digits of a figure that nobody typed: more would say more than is known."""
    kind = next(kind for kind in KINDS if unit in kind)
    number = si / kind[unit] + OFFSETS.get(unit, 0.0)
    decimals = DIGITS - 1 - math.floor(math.log10(abs(number))) if number else 0
    if kind is TEMPERATURE:
        decimals = 1  # a step of the thermometer, wherever its zero lies
    text = f"{Decimal(repr(number)):.{max(0, decimals)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{thin('0' if text == '-0' else text)} {unit}"
