"""Properties of concentrate against the limits of the programmes (topic j)."""

from typing import Any

import pytest

from calc.hydraulics import k_factor_si, k_flow
from calc.properties import against, shipped_programmes
from calc.quality import simulated_sea_water
from calc.units import FLOW, PRESSURE
from tests.calc.published.rows import Cases, agree, inputs, published


def ends(programme: str, name: str) -> list[float | None]:
    limit = shipped_programmes()[programme].limits[name]
    return [None if end is None else float(end) for end in (limit.lowest, limit.highest)]


def implied_k_factor() -> dict[str, Any]:
    of_one = k_flow(k_factor_si(1.0), inputs("J-08")["p_bar"] * PRESSURE["bar"])
    return {"K_L_min_bar05": inputs("J-08")["flow"] * FLOW["L/min"] / of_one}


MILITARY = "military-film-former-3"


def european_limits() -> dict[str, Any]:
    return {
        "before_pct": ends("european", "sediment_percent")[1],
        "after_pct": ends("european", "aged_sediment_percent")[1],
        "pH": ends("european", "ph"),
    }


def decisions() -> dict[str, Any]:
    def within(programme: str, name: str, value: str) -> bool:
        return against(value, shipped_programmes()[programme].limits[name]) == "within"

    return {
        "unaged_0_30": within("european", "sediment_percent", "0.30"),
        "aged_0_80": within("european", "aged_sediment_percent", "0.80"),
        "ph_9_6": within("ships", "ph", "9.6"),
        "ph_9_5": within("ships", "ph", "9.5"),
        "ph_6_0": within("ships", "ph", "6.0"),
    }


def sea_water() -> dict[str, Any]:
    parts = simulated_sea_water(1.0)
    water, *salts = parts.values()
    assert water == inputs("J-06")["water_kg"]
    assert [1000 * salt for salt in salts] == pytest.approx(inputs("J-06")["salts_g"])
    return {"total_kg": sum(parts.values())}


CASES: Cases = {
    "J-01": lambda: {
        f"type{size}": ends(f"military-film-former-{size}", "refractive_index")[0]
        for size in (3, 6)
    },
    "J-02": lambda: {
        "pH": ends(MILITARY, "ph"),
        "spreading_min": ends(MILITARY, "spreading_coefficient_mn_m")[0],
        "expansion_min": ends(MILITARY, "expansion")[0],
        "drain25_min": ends(MILITARY, "drain_time_25_min")[0],
    },
    "J-03": lambda: {
        "extinguish_s_max": ends(MILITARY, "extinguishing_time_s")[1],
        "burnback_s_min": ends(MILITARY, "burnback_time_s")[0],
    },
    "J-04": lambda: {"pH": ends("ships", "ph")},
    "J-05": lambda: {
        "sediment_pct_max": ends("ships", "sediment_percent")[1],
        "viscosity_max_mm2_s": ends("ships", "kinematic_viscosity_mm2_s")[1],
    },
    "J-06": sea_water,
    "J-07": european_limits,
    "J-08": implied_k_factor,
    "J-09": decisions,
}


@published(CASES)
def test_limits_of_properties_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())
