"""Potassium chloride: what a conductivity meter must show in it, to check its cell."""

from collections.abc import Mapping, Sequence
from typing import Any

from calc.arguments import not_negative, within
from calc.errors import CalcError, quoted

# By mol/kg at 15, 20, 25 and 30 °C: Pratt et al., Pure Appl. Chem. 73 (2001) 1783, S/m.
MOLAL_NODES = (15.0, 20.0, 25.0, 30.0)  # °C
MOLAL = {
    0.01: (0.114145, 0.127303, 0.140823, 0.154663),
    0.1: (1.04371, 1.16159, 1.28246, 1.40592),
}
# By g of salt in a litre at 20 °C, at 0, 18 and 25 °C: ASTM D1125 (from memory), S/m.
WEIGHED_NODES = (0.0, 18.0, 25.0)  # °C
WEIGHED = {
    0.7440: (0.07736, 0.12205, 0.14088),
    7.4365: (0.7138, 1.1167, 1.2856),
    74.2460: (6.5176, 9.7838, 11.1342),
}


def chloride_conductivity(
    molality: float, temperature_c: Any, water_conductivity: Any = 0.0
) -> Any:
    """What a meter must show in a potassium chloride solution made by mol in a kilogram of water.

    Parameters
    ----------
    molality : float, 0.01 or 0.1 mol/kg.
    temperature_c : array_like, 15 to 30 °C.
    water_conductivity : array_like, >= 0, S/m at 25 °C. Of the water it was made with; water that
        has stood in air has 1.10e-4.

    Returns
    -------
    S/m, broadcast shape.

    Raises: unknown_choice, not_a_number, not_finite, out_of_range.
    Notes: cubic through the published values at 15, 20, 25 and 30 °C, plus the water's own.
    Source: Pratt et al., Pure Appl. Chem. 73 (2001) 1783, as in the CRC Handbook, section 5.
    Check: fixtures/reference/check-values.json C-01, C-02, C-07, C-08.
    """
    values = _named(MOLAL, "molality", molality)
    t = within("temperature_c", temperature_c, 15, 30, "15 to 30 °C")
    return _through(MOLAL_NODES, values, t) + not_negative("water_conductivity", water_conductivity)


def weighed_chloride_conductivity(
    grams_per_litre: float, temperature_c: Any, water_conductivity: Any = 0.0
) -> Any:
    """What a meter must show in a potassium chloride solution made by mass of salt in a litre.

    Parameters
    ----------
    grams_per_litre : float, 0.7440, 7.4365 or 74.2460 g in a litre of solution at 20 °C. The
        strongest is for a cell that is to read brackish or sea water.
    temperature_c : array_like, 0 to 25 °C.
    water_conductivity : array_like, >= 0, S/m at 25 °C. Of the water it was made with.

    Returns
    -------
    S/m, broadcast shape.

    Raises: unknown_choice, not_a_number, not_finite, out_of_range.
    Notes: parabola through the published values at 0, 18 and 25 °C, plus the water's own. Between
    15 and 25 °C the weakest keeps within 0.1 % of 0.01 mol/kg, which holds as much salt.
    Source: ASTM D1125, table of reference solutions (from memory). Check:
    fixtures/reference/check-values.json C-03.
    """
    values = _named(WEIGHED, "grams_per_litre", grams_per_litre)
    t = within("temperature_c", temperature_c, 0, 25, "0 to 25 °C")
    own = not_negative("water_conductivity", water_conductivity)
    return _through(WEIGHED_NODES, values, t) + own


def _named(table: Mapping[float, Sequence[float]], where: str, wanted: float) -> Sequence[float]:
    if wanted not in table:
        choices = ", ".join(f"{strength:g}" for strength in table)
        raise CalcError("unknown_choice", where, got=quoted(str(wanted)), choices=choices)
    return table[wanted]


def _through(nodes: Sequence[float], values: Sequence[float], t: Any) -> Any:
    """The polynomial through all nodes, by Lagrange."""
    total = 0.0 * t
    for node, value in zip(nodes, values, strict=True):
        weight = value
        for other in nodes:
            if other != node:
                weight = weight * (t - other) / (node - other)
        total = total + weight
    return total
