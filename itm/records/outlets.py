"""Outlets read by pitot, as typed, and the flow that they make together.

An outlet is one text, “38 mm; 0.90; 2.1 bar”: inside diameter, coefficient, pitot pressure.
"""

from collections.abc import Iterable, Mapping, Sequence

from calc.errors import CalcError
from calc.hydraulics import Outlet, outlets_flow
from calc.units import FLOW, LENGTH, PRESSURE
from itm.core.errors import Refused
from itm.core.quantities import Quantity, apart, parse_decimal, quantity

PARTS = ("diameter", "coefficient", "pressure")
MOST = 40  # outlets of one flow point, own choice
PLACE = "outlets"
DIGITS = 4  # of the sum; a pitot gauge gives three


def parts(text: str) -> list[str]:
    """Three parts as typed, empty where nothing is."""
    found = [part.strip() for part in text.split(";")]
    return found + [""] * (len(PARTS) - len(found))


def listed(texts: Iterable[str]) -> list[str]:
    """Outlets as they are kept; one without any entry falls out.

    Raises Refused outlet_incomplete, outlet_impossible, too_many_outlets, and those of a quantity.
    """
    out = []
    for number, text in enumerate(texts, 1):
        typed = parts(text)
        if not any(typed):
            continue
        if len(typed) > len(PARTS) or not all(typed):
            raise Refused(
                "outlet_incomplete",
                f"Outlet {number} is “{'; '.join(typed)}”: write its inside diameter, its "
                "coefficient and its pitot pressure, such as 38 mm; 0.90; 2.1 bar.",
                PLACE,
            )
        _flow([text], f"Outlet {number}")
        out.append("; ".join(typed))
    if len(out) > MOST:
        raise Refused("too_many_outlets", f"{len(out)} outlets; {MOST} are the most.", PLACE)
    return out


def flow(texts: Sequence[str], *, unit: str) -> Quantity:
    """The sum of all outlets, written in `unit`, litres a minute where that is no unit of flow."""
    unit = unit if unit in FLOW else "L/min"
    si = _flow(texts, "The outlets")
    return Quantity(si, f"{float(f'{si / FLOW[unit]:.{DIGITS}g}'):.10g} {unit}")


def _flow(texts: Sequence[str], what: str) -> float:
    try:
        found = outlets_flow([outlet(text, what) for text in texts]).flow
    except CalcError as refusal:
        raise Refused("outlet_impossible", f"{what}: {refusal}", PLACE) from refusal
    if found <= 0:
        raise Refused("outlet_impossible", f"{what}: no pressure is no flow; leave it out.", PLACE)
    return found


def outlet(text: str, what: str = "The outlet") -> Outlet:
    diameter, coefficient, pressure = parts(text)
    factor = parse_decimal(coefficient, place=PLACE, what=f"{what}, coefficient,")
    return Outlet(
        diameter=_measured(diameter, LENGTH, f"{what}, diameter"),
        coefficient=float(factor),
        pressure=_measured(pressure, PRESSURE, f"{what}, pressure"),
    )


def _measured(typed: str, units: Mapping[str, float], what: str) -> float:
    number, unit = apart(typed, units)
    if not unit:
        raise Refused(
            "unknown_unit", f"{what}: write it with its unit, one of {', '.join(units)}.", PLACE
        )
    try:
        return quantity(number, unit, units, place=PLACE).si
    except Refused as refusal:
        raise Refused(refusal.code, f"{what}: {refusal.sentence}", PLACE) from refusal


def told(text: str) -> str:
    diameter, coefficient, pressure = parts(text)
    return f"{diameter}, coefficient {coefficient}, {pressure}"
