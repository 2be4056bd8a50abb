"""Flow from what a gauge shows: pitot pressure at outlets, and nozzles with a K-factor."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.arguments import not_negative, one_shape, positive, within
from calc.errors import CalcError
from calc.sums import ordered_sum
from calc.units import FLOW, INCH, PRESSURE, PSI

PITOT_CONSTANT = 29.84  # US gpm per in² √psi, NFPA 291; 29.83 in some tables, see E-03
_ONE_OUTLET = PITOT_CONSTANT * FLOW["US gpm"] / (np.pi / 4 * INCH**2)  # m/s at 1 psi
PITOT_DENSITY = 2 * PSI / _ONE_OUTLET**2  # kg/m³, 998.946: the density that lies in 29.84
LARGEST_PRESSURE = 1e8  # Pa, own choice: more is a slip of the unit
LARGEST_K = 1.0  # m³/s per √Pa, own choice: thousands of times the largest monitor
SMOOTH, SQUARE, PROJECTING, TUBE = 0.90, 0.80, 0.70, 0.95  # -, coefficients by NFPA 291


@dataclass(frozen=True, slots=True)
class Outlet:
    """One open outlet: diameter in m, coefficient of its inlet, pitot pressure in Pa."""

    diameter: float
    coefficient: float
    pressure: float
    u_diameter: float = 0.0
    u_coefficient: float = 0.0
    u_pressure: float = 0.0


@dataclass(frozen=True, slots=True)
class Flow:
    """A flow and its standard uncertainty, m³/s."""

    flow: float
    u_flow: float


def pitot_flow(diameter: Any, coefficient: Any, pressure: Any, density: Any = PITOT_DENSITY) -> Any:
    """Flow from an open outlet by the pitot pressure in its stream.

    Parameters
    ----------
    diameter : array_like, above 0 and at most 2 m, inside.
    coefficient : array_like, above 0 and at most 1. 0.90 smooth and rounded, 0.80 square and sharp,
        0.70 square and projecting into the barrel, 0.95 flow tube.
    pressure : array_like, 0 to 1e8 Pa above the air outside.
    density : array_like, 500 to 2000 kg/m³.

    Returns
    -------
    m³/s, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: c π d²/4 √(2 p/ρ). A tenth more pressure is a twentieth more flow; a stream below
    about 70 kPa or a half-filled outlet is no reading (NFPA 291, from memory).
    Source: Bernoulli; NFPA 291 with Q = 29.84 c d² √p. Check:
    fixtures/reference/check-values.json E-01, E-02, E-03, E-10.
    """
    one_shape("pressure", diameter, coefficient, pressure, density)
    d = within("diameter", positive("diameter", diameter), 0, 2, "above 0 and at most 2 m")
    c = within("coefficient", positive("coefficient", coefficient), 0, 1, "above 0 and at most 1")
    p, rho = _pressure(pressure), within("density", density, 500, 2000, "500 to 2000 kg/m³")
    return c * np.pi / 4 * d * d * np.sqrt(2 * p / rho)


def _pressure(pressure: Any) -> Any:
    return within("pressure", pressure, 0, LARGEST_PRESSURE, "0 to 100 MPa, in Pa")


def outlets_flow(outlets: list[Outlet] | tuple[Outlet, ...], gauge_shared: bool = True) -> Flow:
    """Flow of any number of outlets that run together, with its standard uncertainty.

    Parameters
    ----------
    outlets : at least one Outlet.
    gauge_shared : bool. True when one gauge read all of them, so that its error is the same at
        each; False when each had its own.

    Returns
    -------
    Flow.

    Raises: empty_list, not_a_number, not_finite, out_of_range.
    Notes: sum of `pitot_flow`. Relative parts of one outlet: u_c/c, 2 u_d/d, u_p/(2 p).
    Coefficients and diameters err apart from outlet to outlet, pressures together if shared.
    Source: NFPA 291; JCGM 100:2008, 5.1.2 and 5.2.2. Check: tests/calc/test_hydraulics.py.
    """
    if not outlets:
        raise CalcError("empty_list", "outlets")
    flows = [pitot_flow(o.diameter, o.coefficient, o.pressure) for o in outlets]
    apart, pressures = [], []
    for outlet, flow in zip(outlets, flows, strict=True):
        u_c = not_negative("u_coefficient", outlet.u_coefficient) / outlet.coefficient
        u_d = 2 * not_negative("u_diameter", outlet.u_diameter) / outlet.diameter
        u_p = not_negative("u_pressure", outlet.u_pressure)
        apart.append((flow * u_c) ** 2 + (flow * u_d) ** 2)
        pressures.append(flow * u_p / (2 * outlet.pressure) if outlet.pressure > 0 else 0.0)
    together = ordered_sum(pressures) ** 2 if gauge_shared else ordered_sum(np.square(pressures))
    return Flow(float(ordered_sum(flows)), float(np.sqrt(ordered_sum(apart) + together)))


def k_flow(k_factor: Any, pressure: Any) -> Any:
    """Flow of a nozzle, sprinkler or monitor with a K-factor.

    Parameters
    ----------
    k_factor : array_like, above 0 and at most 1 m³/s per √Pa, from `k_factor_si`.
    pressure : array_like, 0 to 1e8 Pa at the nozzle.

    Returns
    -------
    m³/s, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: Q = K √p.
    Source: NFPA 13, definition of the K-factor. Check:
    fixtures/reference/check-values.json E-04, E-11.
    """
    one_shape("pressure", k_factor, pressure)
    k = within("k_factor", positive("k_factor", k_factor), 0, LARGEST_K, "a K-factor in SI units")
    return k * np.sqrt(_pressure(pressure))


def k_factor_si(k_factor: Any, flow_unit: str = "L/min", pressure_unit: str = "bar") -> Any:
    """K-factor in coherent units from the one that is stamped on a nozzle.

    Parameters
    ----------
    k_factor : array_like, > 0, flow_unit per √pressure_unit.
    flow_unit, pressure_unit : str, keys of units.FLOW and units.PRESSURE; "US gpm" and "psi" for
        US figures.

    Returns
    -------
    m³/s per √Pa, same shape.

    Raises: not_a_number, not_finite, out_of_range, unknown_choice.
    Source: exact definitions, NIST SP 811. Check: fixtures/reference/check-values.json E-04, E-11.
    """
    for where, unit, known in (
        ("flow_unit", flow_unit, FLOW),
        ("pressure_unit", pressure_unit, PRESSURE),
    ):
        if unit not in known:
            raise CalcError("unknown_choice", where, got=f'"{unit}"', choices=", ".join(known))
    return positive("k_factor", k_factor) * FLOW[flow_unit] / np.sqrt(PRESSURE[pressure_unit])
