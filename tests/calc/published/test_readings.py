"""Water, sugar scale and conductivity (topics b and c)."""

from typing import Any

from calc.chloride import chloride_conductivity, weighed_chloride_conductivity
from calc.readings import (
    brix_correction,
    brix_to_index,
    effective_coefficient,
    linear_to_25,
    natural_water_factor,
)
from calc.units import CONDUCTIVITY
from calc.water import air_index, index_against_vacuum, water_density, water_index
from tests.calc.benches import a_bench, readings, standards
from tests.calc.pitfalls.bench import FLAT, STEEP, answer, in_steps, true_bench
from tests.calc.published.rows import ROWS, Cases, agree, inputs, published

# Density of each point of B-07, kg/m³, by IAPWS-95 (computed with CoolProp 8.0.0).
DENSITIES_B07 = (1004.82144, 958.770656, 999.761789, 0.460313653)


def water_at_three_wavelengths() -> dict[str, Any]:
    data = inputs("B-01")
    wavelengths = [w * 1e-6 for w in data["wavelength_um"]]
    t = data["t_degC"]
    return {"n": list(index_against_vacuum(t, water_density(t), wavelengths))}


def water_against_air() -> dict[str, Any]:
    t = inputs("B-02")["t_degC"]
    return {
        "n_vacuum": index_against_vacuum(t, water_density(t)),
        "n_air_at_20C": air_index(t),
        "n_against_air": water_index(t),
    }


def water_under_pressure() -> dict[str, Any]:
    points = zip(inputs("B-07")["points"], DENSITIES_B07, strict=True)
    return {
        "n": [index_against_vacuum(t, rho, w * 1e-6) for (w, t, _pressure), rho in points],
    }


def water_per_degree() -> dict[str, Any]:
    between = [(water_index(b) - water_index(a)) / (b - a) for a, b in inputs("B-08")["intervals"]]
    return {"dn_dT_per_K": between}


def sugar_corrections() -> dict[str, Any]:
    data = inputs("B-09")
    return {
        f"correction_{brix}": list(brix_correction(brix, data["t_degC"]))
        for brix in data["readings_percent"]
    }


def chloride(row_id: str) -> list[float]:
    data = inputs(row_id)
    return list(chloride_conductivity(data["molality"], data["t_degC"]) / CONDUCTIVITY["µS/cm"])


def chloride_further() -> dict[str, Any]:
    t, unit = inputs("C-07")["t_degC"], CONDUCTIVITY["µS/cm"]
    return {
        "m001": list(chloride_conductivity(0.01, t) / unit),
        "m01": list(chloride_conductivity(0.1, t) / unit),
    }


def natural_waters() -> dict[str, Any]:
    return {"normalised": list(natural_water_factor(inputs("C-06")["t_degC"]))}


def chloride_in_water_from_air() -> dict[str, Any]:
    unit = CONDUCTIVITY["µS/cm"]
    own = inputs("C-08")["water_CO2_saturated"] * unit
    return {"kappa_as_read": chloride_conductivity(0.01, 25, own) / unit}


def coefficients() -> dict[str, Any]:
    weak = ROWS["C-01"]["expected"]["kappa_uS_per_cm"]
    strong = ROWS["C-02"]["expected"]["kappa_uS_per_cm"]
    cold, warm = ROWS["C-07"]["expected"]["m001"]
    return {
        "alpha": [
            effective_coefficient(cold, 15, weak[2]),
            effective_coefficient(weak[1], 20, weak[2]),
            effective_coefficient(warm, 30, weak[2]),
            effective_coefficient(strong[1], 20, strong[2]),
        ]
    }


def linear_compensation() -> dict[str, Any]:
    data = inputs("C-04")
    return {"kappa_25": linear_to_25(data["kappa_T"], data["t_degC"], data["alpha"])}


def chloride_by_mass() -> dict[str, Any]:
    t, unit = inputs("C-03")["t_degC"], CONDUCTIVITY["µS/cm"]
    grams = {"C_0_7440": 0.7440, "B_7_4365": 7.4365, "A_74_2460": 74.2460}
    return {name: list(weighed_chloride_conductivity(g, t) / unit) for name, g in grams.items()}


CASES: Cases = {
    "B-01": water_at_three_wavelengths,
    "B-02": water_against_air,
    "B-03": lambda: {"nD": list(water_index(inputs("B-03")["t_degC"]))},
    "B-04": lambda: {"nD": list(brix_to_index(inputs("B-04")["brix"]))},
    "B-05": lambda: {
        "correction": list(
            brix_correction(inputs("B-05")["reading_percent"], inputs("B-05")["t_degC"])
        )
    },
    "B-07": water_under_pressure,
    "B-08": water_per_degree,
    "B-09": sugar_corrections,
    "C-01": lambda: {"kappa_uS_per_cm": chloride("C-01")},
    "C-02": lambda: {"kappa_uS_per_cm": chloride("C-02")},
    "C-03": chloride_by_mass,
    "C-04": linear_compensation,
    "C-05": lambda: {"f25": list(natural_water_factor(inputs("C-05")["t_degC"]))},
    "C-06": natural_waters,
    "C-07": chloride_further,
    "C-08": chloride_in_water_from_air,
    "C-09": coefficients,
}


@published(CASES)
def test_readings_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())


def half_width(bench: dict[str, Any]) -> float:
    low, high = answer(bench).interval
    return (high - low) / 2


@published(["B-06"])
def test_intervals_lie_about_what_a_test_authority_found_of_the_two_methods(row_id):
    # Four decimals, three bottles of three readings, by a steep and by a flat liquid; and a meter
    # of 1 µS/cm at 120 µS/cm a point (invented) with standards made in a laboratory.
    found = ROWS[row_id]["expected"]
    steep, flat = (half_width(in_steps(thrice(undiluted), 1e-4)) for undiluted in (STEEP, FLAT))
    assert steep < found["refractometer_abs_percent"] < flat
    assert half_width(conductivity_bench()) < found["conductivity_abs_percent"]


def thrice(undiluted: float) -> dict[str, Any]:
    bench = true_bench(undiluted, sample=3.45)
    (bottle,) = bench["samples"]
    return {
        **bench,
        "standards": [{**s, "readings": 3 * s["readings"]} for s in bench["standards"]],
        "samples": [
            {"name": str(i), "flow_point": "design", "readings": 3 * bottle["readings"]}
            for i in range(3)
        ],
    }


def conductivity_bench() -> dict[str, Any]:
    made = standards([2, 3, 4], [640, 760, 880])
    return a_bench(
        method="conductivity",
        instrument={"resolution": 1.0, "repeatability": 1.0, "temperature_compensated": False},
        water=readings(400),
        standards=[{**standard, "percent_uncertainty": 0.002} for standard in made],
        concentrate=None,
        samples=[{"name": "design", "readings": readings(814)}],
    )
