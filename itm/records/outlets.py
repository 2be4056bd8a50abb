"""Outlets read by pitot, as typed, and the flow that they make together."""

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


def listed(rows: Iterable[Mapping[str, str]]) -> list[dict[str, str]]:
    """Rows as they are kept: a row without any entry falls out.

    Raises Refused outlet_incomplete, outlet_impossible, too_many_outlets, and those of a quantity.
    """
    out = []
    for number, row in enumerate(rows, 1):
        typed = {part: str(row.get(part, "")).strip() for part in PARTS}
        if not any(typed.values()):
            continue
        if missing := [part for part in PARTS if not typed[part]]:
            raise Refused(
                "outlet_incomplete",
                f"Outlet {number} lacks its {' and '.join(missing)}: write all three or none.",
                PLACE,
            )
        out.append(typed)
        _flow([typed], f"Outlet {number}")
    if len(out) > MOST:
        raise Refused("too_many_outlets", f"{len(out)} outlets; {MOST} are the most.", PLACE)
    return out


def flow(rows: Sequence[Mapping[str, str]], *, unit: str) -> Quantity:
    """The sum of all outlets, written in `unit`, litres a minute where that is no unit of flow."""
    unit = unit if unit in FLOW else "L/min"
    si = _flow(rows, "The outlets")
    return Quantity(si, f"{float(f'{si / FLOW[unit]:.{DIGITS}g}'):.10g} {unit}")


def _flow(rows: Sequence[Mapping[str, str]], what: str) -> float:
    try:
        found = outlets_flow([outlet(row, what) for row in rows]).flow
    except CalcError as refusal:
        raise Refused("outlet_impossible", f"{what}: {refusal}", PLACE) from refusal
    if found <= 0:
        raise Refused("outlet_impossible", f"{what}: no pressure is no flow; leave it out.", PLACE)
    return found


def outlet(row: Mapping[str, str], what: str) -> Outlet:
    return Outlet(
        diameter=_measured(row["diameter"], LENGTH, f"{what}, diameter"),
        coefficient=float(
            parse_decimal(row["coefficient"], place=PLACE, what=f"{what}, coefficient,")
        ),
        pressure=_measured(row["pressure"], PRESSURE, f"{what}, pressure"),
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


def told(row: Mapping[str, str]) -> str:
    return f"{row['diameter']}, coefficient {row['coefficient']}, {row['pressure']}"
