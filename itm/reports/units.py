"""A sealed document in the units in which its reader reads.

The record keeps what was typed and is never touched: this makes another document of it, in which
each quantity that was typed in other units is worked out, with what stands in the record beside it.
Bench work stays as typed: glass is marked in millilitres, and readings stand in °C and in the unit
of their instrument. Sentences stay too, because they were signed as they are.
"""

from collections.abc import Callable, Sequence
from typing import Any

from itm.core.conversions import quantity
from itm.core.measures import TEMPERATURE
from itm.records.outlets import parts

EVERY = "*"
# Where a document of any kind holds a quantity; a place that it does not have is passed over.
TYPED = (
    "proportioner.lowest_listed_flow", "proportioner.highest_listed_flow",
    "tank.capacity", "tank.usable_volume", "tank.fills.*.volume",
    "runs.*.flow", "runs.*.inlet_pressure", "runs.*.level_before", "runs.*.level_after",
    "direct.vessel.diameter", "direct.vessel.length", "direct.vessel.width",
    "direct.vessel.height", "direct.vessel.level_step",
    "direct.weighing.step", "direct.weighing.error",
    "direct.runs.*.concentrate.flow", "direct.runs.*.concentrate.start",
    "direct.runs.*.concentrate.end", "direct.runs.*.second.flow", "direct.runs.*.second.start",
    "direct.runs.*.second.end", "direct.runs.*.level_before", "direct.runs.*.level_after",
    "direct.runs.*.mass_before", "direct.runs.*.mass_after",
    "direct.runs.*.baseline.liquid_flow", "direct.runs.*.baseline.second_flow",
)  # fmt: skip
BY_THE_BOOK = ("tank.contents.*.volume",)  # worked out when it was sealed, typed by nobody
OUTLETS = ("runs.*.outlets.*",)
RUNS = ("runs.*",)  # whose flow was summed where it has outlets, and typed where it has none
AIR = ("visit.ambient_c",)


def in_readers_units(document: dict[str, Any]) -> dict[str, Any]:
    """A document of any canonical form as the reader (`measures`) reads it.

    The very same object where everything was typed in the reader's units.
    """
    for places, shown in (
        (TYPED, quantity),
        (BY_THE_BOOK, _by_the_book),
        (RUNS, _run),
        (OUTLETS, _outlet),
        (AIR, _air),
    ):
        for place in places:
            document = _with(document, place.split("."), shown)
    return document


def _with(node: Any, place: Sequence[str], shown: Callable[[Any], Any]) -> Any:
    """The node with what stands at a place shown; itself where that changes nothing."""
    if not place:
        return shown(node) if node else node
    first, rest = place[0], place[1:]
    if first == EVERY and isinstance(node, list):
        made = [_with(one, rest, shown) for one in node]
        return node if all(a is b or a == b for a, b in zip(node, made, strict=True)) else made
    if not isinstance(node, dict) or first not in node:
        return node
    held = node[first]
    new = _with(held, rest, shown)
    return node if new is held or new == held else {**node, first: new}


def _by_the_book(text: str) -> str:
    return quantity(text, "by the book")


def _run(run: dict[str, Any]) -> dict[str, Any]:
    how = "summed" if run.get("outlets") else "typed"
    return {**run, "solution_flow": quantity(run["solution_flow"], how)}


def _outlet(text: str) -> str:
    """“38 mm; 0.90; 2.1 bar”, as `records/outlets.py` keeps it."""
    diameter, coefficient, pressure = parts(text)
    return "; ".join((quantity(diameter), coefficient, quantity(pressure)))


def _air(text: str) -> str:
    """The first forms held the number alone, in °C."""
    with_unit = text if not text or text.endswith(tuple(TEMPERATURE)) else f"{text} °C"
    shown = quantity(with_unit)
    return text if shown == with_unit else shown
