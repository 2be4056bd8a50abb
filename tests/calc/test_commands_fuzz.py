"""Damaged forms of every command: finite JSON or a refusal with its path, never anything else."""

import copy
import json
import random

import pytest

from calc.commands import COMMANDS
from calc.errors import CalcError

FORMS = {
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
ODD = [None, True, -1, 0, -0.0, 1, 100, 1e308, -1e308, 5e-324, 1e-9, 1e9, 2**60, "", "x", "1e999"]
ODD += ["2020-01-01", "\ud800", [], {}, [1], {"a": 1}]


def damaged(form, choose):
    """A copy with one to three entries replaced, left out or added."""
    form = copy.deepcopy(form)
    for _ in range(choose.randint(1, 3)):
        place = form
        while True:
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            if not keys:
                break
            key = choose.choice(keys)
            if isinstance(place[key], dict | list) and choose.random() < 0.85:
                place = place[key]
                continue
            damage(place, key, choose)
            break
    return form


def damage(place, key, choose):
    kind = choose.random()
    if kind < 0.4 and isinstance(place[key], int | float):
        place[key] = place[key] * choose.choice([0.1, 0.5, 0.999, 1.001, 2, 10, 1e6])
    elif kind < 0.85:
        place[key] = choose.choice(ODD)
    elif kind < 0.95:
        del place[key]
    elif isinstance(place, dict):
        place[choose.choice(["ph", "value", "colour"])] = choose.choice(ODD)


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
