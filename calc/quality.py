"""What the foam itself is like: expansion, how fast it drains, and its class."""

from typing import Any

import numpy as np

from calc.arguments import not_negative, numbers, one_shape, positive, within
from calc.errors import CalcError

QUARTER = 0.25  # of the liquid in the foam, NFPA 11 annex on foam tests
LOW, MEDIUM, HIGH = "low", "medium", "high"
LOW_UP_TO, MEDIUM_UP_TO = 20.0, 200.0  # expansion, NFPA 11 definitions; limits count to the lower
# Shares of mass, IMO MSC.1/Circ.1312, annex 3.7.3 (that of the last salt from memory).
SEA_WATER = {
    "water": 0.9584,
    "NaCl": 0.0250,
    "MgCl2·6H2O": 0.0110,
    "CaCl2·2H2O": 0.0016,
    "Na2SO4": 0.0040,
}


def expansion(foam_volume: Any, liquid_volume: Any) -> Any:
    """Expansion ratio: foam over the liquid it was made of.

    Parameters
    ----------
    foam_volume, liquid_volume : array_like, > 0, one unit of volume; foam at least the liquid.

    Returns
    -------
    Ratio, no unit, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Source: NFPA 11, definition; USDA Forest Service STP 8.3 (2006). Check:
    fixtures/reference/check-values.json F-04.
    """
    one_shape("liquid_volume", foam_volume, liquid_volume)
    foam, liquid = positive("foam_volume", foam_volume), positive("liquid_volume", liquid_volume)
    if np.any(foam < liquid):
        want = "a volume of foam that is not below that of its liquid"
        raise CalcError("out_of_range", "foam_volume", got=float(np.min(foam)), want=want)
    return foam / liquid


def expansion_by_weight(
    vessel_volume: Any, empty_mass: Any, full_mass: Any, density: Any = 1000.0
) -> Any:
    """Expansion ratio of foam that was caught in a vessel and weighed.

    Parameters
    ----------
    vessel_volume : array_like, > 0, m³.
    empty_mass, full_mass : array_like, >= 0, kg; full above empty.
    density : array_like, > 0, kg/m³ of the solution; 1000 as the method takes it.

    Returns
    -------
    Ratio, no unit, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: V ρ/(m_full - m_empty).
    Source: IMO MSC.1/Circ.1312, annex 3.7.2. Check: fixtures/reference/check-values.json F-01.
    """
    one_shape("full_mass", vessel_volume, empty_mass, full_mass, density)
    net = numbers("full_mass", full_mass) - not_negative("empty_mass", empty_mass)
    if np.any(net <= 0):
        want = "a mass above that of the empty vessel"
        raise CalcError("out_of_range", "full_mass", got=float(np.min(full_mass)), want=want)
    liquid = net / positive("density", density)
    return expansion(vessel_volume, liquid)


def u_expansion(
    ratio: Any, vessel_volume: Any, half_width: Any, net_mass: Any, u_net_mass: Any = 0.0
) -> Any:
    """Standard uncertainty of an expansion ratio found by weighing.

    Parameters
    ----------
    ratio : array_like, >= 1, from `expansion_by_weight`.
    vessel_volume, half_width : array_like, m³, > 0 and >= 0. The vessel is within ± half_width.
    net_mass, u_net_mass : array_like, kg, > 0 and >= 0.

    Returns
    -------
    No unit, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: E √((half_width/(√3 V))² + (u_m/m)²), rectangular within the half width.
    Source: JCGM 100:2008, 4.3.7 and 5.1.6. Check: fixtures/reference/check-values.json F-05.
    """
    one_shape("net_mass", ratio, vessel_volume, half_width, net_mass, u_net_mass)
    wide = not_negative("half_width", half_width) / np.sqrt(3)
    by_vessel = wide / positive("vessel_volume", vessel_volume)
    by_mass = not_negative("u_net_mass", u_net_mass) / positive("net_mass", net_mass)
    return positive("ratio", ratio) * np.hypot(by_vessel, by_mass)


def quarter_volume(liquid_volume: Any) -> Any:
    """Liquid that has drained at the 25 % drain time, in the unit of liquid_volume.

    Source: NFPA 11, annex on foam tests. Check: fixtures/reference/check-values.json F-02, F-04.
    """
    return QUARTER * positive("liquid_volume", liquid_volume)


def drain_time(minutes: Any, drained: Any, liquid_volume: float) -> float:
    """25 % drain time, by a straight line between two marks of a drain curve.

    Parameters
    ----------
    minutes : array_like, shape (n,), n >= 2, rising, >= 0, since the foam was caught.
    drained : array_like, shape (n,), not falling, >= 0. Liquid at the bottom by then, in total.
    liquid_volume : float, > 0, same unit. Liquid that the foam was made of.

    Returns
    -------
    Minutes at which a quarter has drained.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ, too_few_points, not_drained.
    Notes: at the first reading that reaches the quarter, interpolated from the one before. Nothing
    is carried on beyond the last mark.
    Source: NFPA 11, annex on foam tests. Check: fixtures/reference/check-values.json F-02.
    """
    t, v = not_negative("minutes", minutes), not_negative("drained", drained)
    if np.ndim(t) != 1 or np.shape(t) != np.shape(v):
        raise CalcError("shapes_differ", "drained")
    if len(t) < 2:
        raise CalcError("too_few_points", "minutes", count=len(t), least=2)
    for where, marks, wrong, want in (
        ("minutes", t, np.diff(t) <= 0, "times that rise from mark to mark"),
        ("drained", v, np.diff(v) < 0, "a total that never falls"),
    ):
        if wrong.any():
            got = float(marks[1:][wrong][0])
            raise CalcError("out_of_range", where, got=got, want=want)
    wanted = float(quarter_volume(liquid_volume))
    if not v[0] <= wanted <= v[-1]:
        raise CalcError("not_drained", "drained", wanted=wanted, least=v[0], most=v[-1])
    after = int(np.argmax(v >= wanted))
    if after == 0:
        return float(t[0])
    share = (wanted - v[after - 1]) / (v[after] - v[after - 1])
    return float(t[after - 1] + share * (t[after] - t[after - 1]))


def foam_class(ratio: float) -> str:
    """Low, medium or high expansion.

    Parameters
    ----------
    ratio : float, >= 1.

    Returns
    -------
    "low" up to 20, "medium" up to 200, else "high".

    Raises: not_a_number, not_finite, out_of_range.
    Source: NFPA 11, definitions; that 20 and 200 belong to the lower class is our convention.
    Check: fixtures/reference/check-values.json F-03.
    """
    value = within("ratio", ratio, 1, 1e6, "an expansion of at least 1")
    if value <= LOW_UP_TO:
        return LOW
    return MEDIUM if value <= MEDIUM_UP_TO else HIGH


def simulated_sea_water(mass: Any) -> dict[str, Any]:
    """What to weigh for the sea water in which foam for ships is tested.

    Parameters
    ----------
    mass : array_like, > 0, kg of sea water wanted.

    Returns
    -------
    kg of fresh water and of each salt, each of the shape of mass.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: the salts are weighed with their water of crystals; without it they are 35 g in a
    kilogram, as in the sea.
    Source: IMO MSC.1/Circ.1312, annex 3.7.3. Check: fixtures/reference/check-values.json J-06.
    """
    wanted = positive("mass", mass)
    return {part: share * wanted for part, share in SEA_WATER.items()}
