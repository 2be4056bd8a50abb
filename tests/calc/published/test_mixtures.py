"""Standards: density, weighing, recipes and the tools they are made with (topic d)."""

from typing import Any

from calc.glassware import syringe_tolerance, tolerance
from calc.standards import as_made_percent, recipe, weighed_solution
from calc.water import DENSITY_TERMS, volume_per_weight, water_density
from tests.calc.published.rows import Cases, agree, inputs, published


def ratios() -> dict[str, Any]:
    recipes = [recipe(1.0, percent) for percent in inputs("D-05")["percent"]]
    return {
        "solution_to_concentrate": [1.0 / r.concentrate for r in recipes],
        "water_to_concentrate": [r.water / r.concentrate for r in recipes],
    }


def one_mixture() -> dict[str, Any]:
    mixed = recipe(inputs("D-03")["total_mL"], inputs("D-03")["percent"])
    return {"concentrate_mL": mixed.concentrate, "water_mL": mixed.water}


def densities() -> dict[str, Any]:
    densest = -DENSITY_TERMS[0]
    return {
        "rho": list(water_density(inputs("D-01")["t_degC"])),
        "rho_max": water_density(densest),
    }


def weighing_factor() -> dict[str, Any]:
    data = inputs("D-02")
    return {"Z": list(1000 * volume_per_weight(data["t_degC"], data["p_kPa"] * 1000))}


def solution_by_weighing() -> dict[str, Any]:
    data = inputs("D-06")
    value, u = weighed_solution(
        data["m"] * 1e-6,
        data["P"],
        data["V"] * 1e-6,
        data["u_m"] * 1e-6,
        data["u_P"],
        data["u_V"] * 1e-6,
    )
    return {"c_mg_per_L": value * 1000, "u_c": u * 1000}


def piston_pipettes(row_id: str, kind: str) -> dict[str, Any]:
    sizes = [size * 1e-9 for size in inputs(row_id)["nominal_uL"]]
    tools = [(size, tolerance(kind, size)) for size in sizes]
    return {
        "systematic_pct": [round(100 * tool.half_width / size, 9) for size, tool in tools],
        "random_pct": [round(100 * tool.random_sd / size, 9) for size, tool in tools],
    }


def half_widths_in_ml(kind: str, sizes: list[float]) -> list[float]:
    return [round(tolerance(kind, size * 1e-6).half_width * 1e6, 9) for size in sizes]


def cylinders() -> dict[str, Any]:
    sizes = inputs("D-08")["nominal_mL"]
    return {
        f"class_{name}": half_widths_in_ml(f"graduated cylinder, class {name}", sizes)
        for name in ["A", "B"]
    }


def one_mark_glass() -> dict[str, Any]:
    return {
        "flask_mL": half_widths_in_ml("one-mark flask, class A", [100, 250, 500, 1000]),
        "pipette_mL": half_widths_in_ml("one-mark pipette, class A", [5, 10, 25]),
    }


def syringes() -> dict[str, Any]:
    data = inputs("D-10")
    pairs = zip(data["nominal_mL"], data["expelled_mL"], strict=True)
    return {
        "tolerance_mL": [
            syringe_tolerance(nominal * 1e-6, expelled * 1e-6).half_width * 1e6
            for nominal, expelled in pairs
        ]
    }


CASES: Cases = {
    "D-01": densities,
    "D-02": weighing_factor,
    "D-03": one_mixture,
    "D-04": lambda: {
        "percent": as_made_percent(inputs("D-04")["concentrate_mL"], inputs("D-04")["water_mL"])
    },
    "D-05": ratios,
    "D-06": solution_by_weighing,
    "D-07": lambda: piston_pipettes("D-07", "piston pipette, positive displacement"),
    "D-08": cylinders,
    "D-09": one_mark_glass,
    "D-10": syringes,
    "D-11": lambda: piston_pipettes("D-11", "piston pipette, air displacement"),
}


@published(CASES)
def test_mixtures_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())
