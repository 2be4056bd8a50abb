"""The forms of a test as the engine takes them, for the description: a bench, or a direct method.

The keys are those of the engine, whose own refusals say the rest.
"""

from typing import Any

from calc.direct import IN_SOLUTION, IN_WATER
from calc.direct_form import DRAW_DOWN, OTHER_LIQUID, TWO_FLOWS, WEIGHED
from calc.form import METHODS
from calc.vessel_form import HEADS, SHAPES

READING = {
    "type": "object",
    "properties": {
        "value": {"type": "number"},
        "temperature_c": {"type": "number", "nullable": True},
    },
    "required": ["value", "temperature_c"],
}
READINGS = {"type": "array", "items": READING, "minItems": 1}
CRITERION = {
    "description": "“common”, limits {lower, upper}, or a criterion by its name {name}",
}
BENCH = {
    "type": "object",
    "properties": {
        "method": {"type": "string", "enum": list(METHODS)},
        "nominal_percent": {"type": "number"},
        "criterion": CRITERION,
        "instrument": {
            "type": "object",
            "properties": {
                "resolution": {"type": "number"},
                "repeatability": {"type": "number", "nullable": True},
                "temperature_compensated": {"type": "boolean"},
                "interpolated": {
                    "type": "boolean",
                    "description": "Whether the resolution is read by eye between the marks of a "
                    "scale; false if not said.",
                },
            },
            "required": ["resolution", "repeatability", "temperature_compensated"],
        },
        "water": READINGS,
        "standards": {
            "type": "array",
            "items": {
                "type": "object",
                "description": "Either percent, or both volumes, or both masses as made.",
                "properties": {
                    "percent": {"type": "number"},
                    "concentrate_ml": {"type": "number"},
                    "water_ml": {"type": "number"},
                    "concentrate_g": {"type": "number"},
                    "water_g": {"type": "number"},
                    "percent_uncertainty": {"type": "number"},
                    "readings": READINGS,
                },
                "required": ["readings"],
            },
        },
        "concentrate": {**READINGS, "nullable": True},
        "samples": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "name": {"type": "string"},
                    "flow_point": {"type": "string"},
                    "readings": READINGS,
                },
                "required": ["name", "readings"],
            },
        },
        "include_water": {"type": "boolean"},
        "fit": {"type": "string", "enum": ["ordinary", "weighted", "both-axes"]},
        "verdict_probability": {"type": "number", "nullable": True},
        "lean_probability": {"type": "number", "nullable": True},
        "correct_to_c": {"type": "number", "nullable": True},
        "water_again": {**READINGS, "nullable": True},
        "test_water": {**READINGS, "nullable": True},
        "densities": {
            "type": "object",
            "nullable": True,
            "description": "Asked for where a standard was weighed: kg/m³ of the undiluted "
            "concentrate at a temperature, and its standard uncertainty; 1 % either way, as a "
            "rectangle, where that is left out. Water is taken as fresh, at that temperature.",
            "properties": {
                "concentrate": {"type": "number"},
                "temperature_c": {"type": "number"},
                "standard_uncertainty": {"type": "number"},
            },
            "required": ["concentrate", "temperature_c"],
        },
    },
    "required": [
        "method", "nominal_percent", "criterion", "instrument", "water", "standards",
        "concentrate", "samples",
    ],
}  # fmt: skip
BENCH_EXAMPLE = {
    "method": "refractive_index",
    "nominal_percent": 3,
    "criterion": "common",
    "instrument": {
        "resolution": 0.00001, "repeatability": 0.00002, "temperature_compensated": False,
    },
    "water": [{"value": 1.33312, "temperature_c": 19.6}],
    "standards": [
        {"percent": p, "readings": [{"value": v, "temperature_c": 19.7}]}
        for p, v in ((2, 1.33385), (3, 1.33421), (4, 1.33459))
    ],
    "concentrate": None,
    "samples": [{"name": "design", "readings": [{"value": 1.33428, "temperature_c": 19.7}]}],
}  # fmt: skip
WEIGHED_EXAMPLE = {
    **BENCH_EXAMPLE,
    "densities": {"concentrate": 1048, "temperature_c": 20, "standard_uncertainty": 3},
    "standards": [
        {
            "concentrate_g": c, "water_g": w,
            "readings": [{"value": v, "temperature_c": 19.7}],
        }
        for c, w, v in (
            (10.48, 489.1, 1.33385), (15.72, 484.1, 1.33421), (20.96, 479.1, 1.33459),
        )
    ],
}  # fmt: skip


def _measured(unit: str) -> dict[str, Any]:
    """A reading with its standard uncertainty."""
    return {
        "type": "object",
        "description": f"In {unit}, with its standard uncertainty.",
        "properties": {
            "value": {"type": "number"},
            "standard_uncertainty": {"type": "number"},
        },
        "required": ["value", "standard_uncertainty"],
    }


def _direct(method: str, of_test: dict[str, Any], of_point: dict[str, Any]) -> dict[str, Any]:
    """The form of one direct method: what it asks of the test, and at each flow point."""
    own = {
        "method": {"type": "string", "enum": [method]},
        "nominal_percent": {"type": "number"},
        "criterion": CRITERION,
        **of_test,
        "flow_points": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "properties": {"name": {"type": "string"}, **of_point},
                "required": ["name", *of_point],
            },
        },
    }
    rule = {
        name: {"type": "number", "nullable": True}
        for name in ("verdict_probability", "lean_probability")
    }
    return {"type": "object", "properties": {**own, **rule}, "required": list(own)}


FLOW = _measured("m³/s")
METER_IN = {
    "type": "string",
    "enum": [IN_SOLUTION, IN_WATER],
    "description": "Where the second meter sits. A meter in the water does not see what is added.",
}
VESSEL = {
    "type": "object",
    "description": "Of ideal shape, each with its own sizes in m: "
    + "; ".join(f"{shape} has {', '.join(sizes)}" for shape, sizes in SHAPES.items())
    + ". The length of a cylinder is that without its heads.",
    "properties": {
        "shape": {"type": "string", "enum": list(SHAPES)},
        "heads": {"type": "string", "enum": list(HEADS)},
        **{name: {"type": "number"} for name in ("diameter", "length", "width", "height")},
    },
    "required": ["shape"],
}
FOAM = {
    "type": "object",
    "description": "The test with concentrate at this flow, and what the other liquid read beside "
    "it: without one there is no percent.",
    "properties": {
        "name": {"type": "string"},
        "percent": {"type": "number"},
        "standard_uncertainty": {"type": "number"},
        "degrees_of_freedom": {"type": "number"},
        "solution_flow": {"type": "number", "description": "m³/s"},
        "liquid_flow": FLOW,
        "second_flow": FLOW,
    },
    "required": [
        "name", "percent", "standard_uncertainty", "degrees_of_freedom", "solution_flow",
        "liquid_flow", "second_flow",
    ],
}  # fmt: skip
DIRECT = {
    TWO_FLOWS: _direct(
        TWO_FLOWS, {"meter_in": METER_IN}, {"concentrate_flow": FLOW, "second_flow": FLOW}
    ),
    DRAW_DOWN: _direct(
        DRAW_DOWN,
        {"vessel": VESSEL, "level_step": {"type": "number", "description": "m"}},
        {
            "level_before": _measured("m above the lowest point inside"),
            "level_after": _measured("m above the lowest point inside"),
            "seconds": _measured("s"),
            "solution_flow": FLOW,
        },
    ),
    WEIGHED: _direct(
        WEIGHED,
        {
            "density": _measured("kg/m³, of the concentrate"),
            "scale_step": {"type": "number", "description": "kg"},
        },
        {
            "mass_before": _measured("kg"),
            "mass_after": _measured("kg"),
            "seconds": _measured("s"),
            "solution_flow": FLOW,
        },
    ),
    OTHER_LIQUID: _direct(
        OTHER_LIQUID,
        {"meter_in": METER_IN},
        {"liquid_flow": FLOW, "second_flow": FLOW, "baseline": FOAM},
    ),
}
ANY = {"oneOf": [BENCH, *DIRECT.values()]}


def _read(value: float, u: float) -> dict[str, float]:
    return {"value": value, "standard_uncertainty": u}


def _example(method: str, points: list[dict[str, Any]], **of_test: Any) -> dict[str, Any]:
    return {
        "method": method,
        "nominal_percent": 3,
        "criterion": "common",
        **of_test,
        "flow_points": [{"name": "design", **point} for point in points],
    }


DIRECT_EXAMPLES = {
    "Two flows": _example(
        TWO_FLOWS,
        [{"concentrate_flow": _read(0.00102, 6e-06), "second_flow": _read(0.0316, 0.00032)}],
        meter_in=IN_SOLUTION,
    ),
    "A tank that sinks": _example(
        DRAW_DOWN,
        [
            {
                "level_before": _read(1.4, 0.0003),
                "level_after": _read(1.22, 0.0003),
                "seconds": _read(200, 0.5),
                "solution_flow": _read(0.0316, 0.00032),
            }
        ],
        vessel={
            "shape": "standing_cylinder", "diameter": 1.2, "length": 2.0, "heads": "torispherical",
        },
        level_step=0.001,
    ),
    "A drum on a scale": _example(
        WEIGHED,
        [
            {
                "mass_before": _read(214.6, 0.3),
                "mass_after": _read(153.2, 0.3),
                "seconds": _read(60, 0.5),
                "solution_flow": _read(0.0316, 0.00032),
            }
        ],
        density=_read(1032, 1.2),
        scale_step=0.1,
    ),
    "Another liquid in place of concentrate": _example(
        OTHER_LIQUID,
        [
            {
                "liquid_flow": _read(0.00119, 1.2e-05),
                "second_flow": _read(0.0313, 0.00031),
                "baseline": {
                    "name": "acceptance test of 2025-05-14",
                    "percent": 3.24,
                    "standard_uncertainty": 0.06,
                    "degrees_of_freedom": 14,
                    "solution_flow": 0.0317,
                    "liquid_flow": _read(0.00122, 1.2e-05),
                    "second_flow": _read(0.0317, 0.00032),
                },
            }
        ],
        meter_in=IN_SOLUTION,
    ),
}  # fmt: skip
