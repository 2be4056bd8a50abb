"""Damaged forms of every command: finite JSON or a refusal with its path, never anything else."""

import json
import random

import pytest

from calc.commands import COMMANDS
from calc.errors import CalcError
from tests.perf.odd_forms import damaged

SURE = {"standard_uncertainty": 1e-5}
FORMS = {
    "direct": {
        "method": "other_liquid",
        "nominal_percent": 3,
        "criterion": "common",
        "meter_in": "solution",
        "lean_probability": 0.9,
        "flow_points": [
            {
                "name": "design",
                "liquid_flow": {"value": 0.00115, **SURE},
                "second_flow": {"value": 0.031, **SURE},
                "baseline": {
                    "name": "test of 2025-05-14",
                    "percent": 3.24,
                    "standard_uncertainty": 0.06,
                    "degrees_of_freedom": 14,
                    "solution_flow": 0.0311,
                    "liquid_flow": {"value": 0.00118, **SURE},
                    "second_flow": {"value": 0.0311, **SURE},
                },
            }
        ],
    },
    "recipe": {"batch_volume_ml": 500, "percents": [2.5, 1]},
    "supply": {
        "usable_volume_l": 300,
        "required_minutes": 10,
        "demands": [
            {"name": "one", "solution_flow_l_min": 1000, "percent": 3.9, "minutes": 5},
            {"name": "two", "solution_flow_l_min": 400, "percent": 3.1},
        ],
    },
    "trend": {
        "results": [
            {"on": f"{2010 + i}-05-04", "value": 3 + 0.1 * i, "standard_uncertainty": 0.1}
            for i in range(7)
        ],
        "events": [{"on": "2014-01-01", "what": "other lot"}],
        "baseline": {"value": 3.2, "standard_uncertainty": 0.1},
        "criterion": {"code": "baseline", "nominal_percent": 3},
    },
    "check-concentrate": {
        "temperature_c": 20,
        "lot": {"refractive_index": 1.363, "density": 1020, "ranges": {"ph": {"lowest": 6}}},
        "uncertainty": {"refractive_index": 5e-5, "density": 0.3},
        "samples": [
            {"name": "top", "refractive_index": 1.36, "density": 1018, "ph": 7},
            {"name": "bottom", "refractive_index": 1.361, "density": 1018.5},
        ],
        "programmes": ["ships"],
        "solution": {"percent": 3, "standard_uncertainty": 0.1, "standards_from": "tank"},
    },
}


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_damaged_form_gets_a_finite_result_or_a_sentence(command):
    choose, answered, refusals = random.Random(command), 0, []
    for _ in range(1500):
        try:
            result = COMMANDS[command](damaged(FORMS[command], choose))
        except CalcError as error:
            refusals.append(error)
        else:
            json.dumps(result, allow_nan=False)
            answered += 1
    assert all(error.where.startswith("$") and error.message for error in refusals)
    assert min(answered, len(refusals)) >= 100
