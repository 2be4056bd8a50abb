"""Flow, tanks, supply and units (topic e)."""

from typing import Any

import numpy as np

from calc.hydraulics import k_factor_si, k_flow, pitot_flow
from calc.supply import deck_foam_flow
from calc.units import FLOW, IMPERIAL_GALLON, INCH, PRESSURE, PSI, US_GALLON
from calc.vessels import Head, HorizontalCylinder, Sphere, VerticalCylinder, capacity, volume_at
from tests.calc.published.rows import Cases, agree, inputs, published


def units() -> dict[str, Any]:
    return {
        "US_gal_L": US_GALLON * 1e3,
        "imp_gal_L": IMPERIAL_GALLON * 1e3,
        "psi_kPa": PSI / 1e3,
        "bar_kPa": PRESSURE["bar"] / 1e3,
        "bar_psi": PRESSURE["bar"] / PSI,
    }


def lying_tank() -> dict[str, Any]:
    data = inputs("E-06")
    tanks = {}
    for kind in ["ellipsoidal", "spherical", "torispherical"]:
        head = Head(kind, data["a_in"] * INCH)
        tank = HorizontalCylinder(data["D_in"] * INCH, data["L_in"] * INCH, head, head)
        tanks[kind] = volume_at(tank, data["h_in"] * INCH) / US_GALLON
    return tanks


def standing_tank(row_id: str) -> dict[str, Any]:
    data = inputs(row_id)
    tanks = {}
    for kind in ["conical", "ellipsoidal", "spherical", "torispherical"]:
        bottom = Head(kind, data["a_in"] * INCH)
        tank = VerticalCylinder(data["D_in"] * INCH, 100 * INCH, bottom)  # any length above 60 in
        tanks[kind] = volume_at(tank, data["h_in"] * INCH) / US_GALLON
    return tanks


def flat_ends() -> dict[str, Any]:
    data = inputs("E-08")
    return {"V": list(volume_at(HorizontalCylinder(data["D"], data["L"]), data["h"]))}


def ball_and_share() -> dict[str, Any]:
    pipe = HorizontalCylinder(1.0, 1.0)
    return {
        "V_sphere": list(volume_at(Sphere(1.6), [0.2, 0.4, 1.2])),
        "fraction": list(volume_at(pipe, [0.1, 0.3, 0.7]) / capacity(pipe)),
    }


def pitot(d_in: Any, c: Any, p_psi: Any) -> Any:
    flow = pitot_flow(np.multiply(d_in, INCH), c, np.multiply(p_psi, PSI))
    return flow / FLOW["US gpm"]


def pitot_by(row_id: str) -> dict[str, Any]:
    data = inputs(row_id)
    return {"gpm": list(pitot(data["d_in"], data["c"], data["p_psi"]))}


def pitot_constants() -> dict[str, Any]:
    flows = pitot_flow(INCH, 1.0, PSI, inputs("E-03")["rho_kg_m3"])
    return {"constant": list(flows / FLOW["US gpm"])}


def k_factors() -> dict[str, Any]:
    data = inputs("E-04")
    k = k_factor_si(data["K"], "US gpm", "psi")
    return {
        "gpm": list(k_flow(k, np.multiply(data["p_psi"], PSI)) / FLOW["US gpm"]),
        "metric_factor": k_factor_si(1.0, "US gpm", "psi") / k_factor_si(1.0),
    }


def metric_k_factors() -> dict[str, Any]:
    stamped = k_factor_si(inputs("E-11")["K_us"], "US gpm", "psi")
    flow = k_flow(k_factor_si(80.0), 2.5 * PRESSURE["bar"])
    return {"K_metric": list(stamped / k_factor_si(1.0)), "L_per_min": flow / FLOW["L/min"]}


def tanker_deck() -> dict[str, Any]:
    data = inputs("E-09")
    flow = deck_foam_flow(data["deck_m2"], data["tank_m2"], data["monitor_m2"])
    litres = flow / FLOW["L/min"]
    return {
        "rate_L_min": litres,
        "solution_20min_L": 20 * litres,
        "solution_30min_L": 30 * litres,
    }


CASES: Cases = {
    "E-01": lambda: pitot_by("E-01"),
    "E-02": lambda: pitot_by("E-02"),
    "E-03": pitot_constants,
    "E-04": k_factors,
    "E-05": units,
    "E-06": lying_tank,
    "E-07": lambda: standing_tank("E-07"),
    "E-08": flat_ends,
    "E-09": tanker_deck,
    "E-10": lambda: {"gpm": list(pitot([1.75, 1.125, 2.469], [0.97, 0.97, 0.90], [40, 50, 30]))},
    "E-11": metric_k_factors,
    "E-12": lambda: standing_tank("E-12"),
    "E-13": ball_and_share,
}


@published(CASES)
def test_flows_and_volumes_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())
