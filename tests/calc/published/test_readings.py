"""Water, sugar scale and conductivity (topics b and c)."""

from typing import Any

from calc.readings import (
    brix_correction,
    brix_to_index,
    chloride_conductivity,
    effective_coefficient,
    linear_to_25,
    natural_water_factor,
)
from calc.units import CONDUCTIVITY
from calc.water import air_index, index_against_vacuum, water_density, water_index
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
