"""Foam quality (topic f)."""

from typing import Any

from calc.quality import (
    drain_time,
    expansion,
    expansion_by_weight,
    foam_class,
    quarter_volume,
    u_expansion,
)
from tests.calc.published.rows import Cases, agree, inputs, published


def weighed_foam() -> dict[str, Any]:
    data = inputs("F-01")
    grams = [data["W1_g"] * 1e-3, data["W2_g"] * 1e-3]
    return {"expansion": expansion_by_weight(data["V_mL"] * 1e-6, *grams)}


def drained_foam() -> dict[str, Any]:
    data = inputs("F-02")
    return {
        "volume_25pct_mL": quarter_volume(data["net_g"]),  # 1 g of solution counts as 1 mL
        "t25_min": drain_time(data["t_min"], data["drained_mL"], data["net_g"]),
    }


def shaken_foam() -> dict[str, Any]:
    data = inputs("F-04")
    return {
        "expansion": expansion(data["foam_mL"], data["solution_mL"]),
        "volume_25pct_mL": quarter_volume(data["solution_mL"]),
    }


def foam_in_an_uncertain_vessel() -> dict[str, Any]:
    data = inputs("F-05")
    volume, net = data["V_mL"] * 1e-6, data["net_g"] * 1e-3
    ratio = expansion_by_weight(volume, 0.0, net)
    return {
        "expansion": ratio,
        "u_expansion": u_expansion(ratio, volume, data["half_width_mL"] * 1e-6, net),
    }


CASES: Cases = {
    "F-01": weighed_foam,
    "F-02": drained_foam,
    "F-03": lambda: {"cls": [foam_class(ratio) for ratio in inputs("F-03")["expansion"]]},
    "F-04": shaken_foam,
    "F-05": foam_in_an_uncertain_vessel,
}


@published(CASES)
def test_foam_quality_agrees_with_the_published_values(row_id):
    agree(row_id, CASES[row_id]())
