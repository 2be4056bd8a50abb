"""Benches for the tests of the engine: our own invented readings unless a test says otherwise."""

from typing import Any

import calc


def readings(*values: float, temperature_c: float | None = 20.0) -> list[dict[str, Any]]:
    return [{"value": value, "temperature_c": temperature_c} for value in values]


def a_bench(**changes: Any) -> dict[str, Any]:
    """A fine-stepped index bench on a 3 % system: two flow points, nothing to warn of."""
    bench = {
        "method": "refractive_index",
        "nominal_percent": 3.0,
        "criterion": "common",
        "instrument": {
            "resolution": 0.00001,
            "repeatability": None,
            "temperature_compensated": False,
        },
        "water": readings(1.33301, 1.33302),
        "standards": [
            {"percent": 2.0, "readings": readings(1.33360, 1.33359)},
            {"concentrate_ml": 15, "water_ml": 485, "readings": readings(1.33389)},
            {"percent": 4.0, "readings": readings(1.33417, 1.33418)},
        ],
        "concentrate": readings(1.36190),
        "samples": [
            {"name": "bottle 1", "flow_point": "minimum", "readings": readings(1.33401)},
            {"name": "bottle 2", "flow_point": "minimum", "readings": readings(1.33399)},
            {"name": "bottle 3", "flow_point": "design", "readings": readings(1.33396)},
        ],
    }
    return {**bench, **changes}


def with_samples(*values: float, temperature_c: float | None = 20.0) -> list[dict[str, Any]]:
    """One sample a value, each its own flow point."""
    return [
        {"name": f"bottle {i}", "readings": readings(value, temperature_c=temperature_c)}
        for i, value in enumerate(values, start=1)
    ]


def standards(percents: list[float], values: list[float]) -> list[dict[str, Any]]:
    return [
        {"percent": percent, "readings": readings(value)}
        for percent, value in zip(percents, values, strict=True)
    ]


def found(bench: dict[str, Any], code: str) -> list[Any]:
    """The warnings of one code."""
    return [warned for warned in calc.evaluate(bench).warnings if warned.code == code]


def places(bench: dict[str, Any], code: str) -> list[str]:
    return [warned.where for warned in found(bench, code)]


def certainties(bench: dict[str, Any]) -> tuple[list[str], list[str]]:
    """Of the samples and of the flow points."""
    result = calc.evaluate(bench)
    return [r.certainty for r in result.samples], [r.certainty for r in result.flow_points]
