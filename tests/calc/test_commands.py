"""The commands beside `evaluate`: results from a form, refusals with the JSON path."""

import json

import pytest

from tests.calc.test_command import expect_refusal, in_process


def answered(command, given):
    code, stdout, stderr = in_process(command, "-", data=json.dumps(given).encode())
    assert (code, stderr) == (0, "")
    return json.loads(stdout)


def path_of_refusal(command, given):
    return expect_refusal(*in_process(command, "-", data=json.dumps(given).encode()))


def test_recipe_for_a_listed_percent_brackets_it():
    # 3 % in 100 mL: D-03 of the reference file, MIL-F-24385F 1.2.
    found = answered("recipe", {"batch_volume_ml": 100, "nominal_percent": 3})
    assert [s["percent"] for s in found["standards"]] == [2, 3, 4]
    assert found["standards"][1] == {"percent": 3, "concentrate_ml": 3, "water_ml": 97}
    assert len(found["inputs_digest"]) == 64


def test_recipe_with_densities_gives_masses_too():
    given = {
        "batch_volume_ml": 500,
        "percents": [2.5],
        "density_concentrate": 1.02,
        "density_water": 0.998,
    }
    (standard,) = answered("recipe", given)["standards"]
    assert standard["concentrate_g"] == pytest.approx(12.75)
    assert standard["water_g"] == pytest.approx(486.525)


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ([], "$"),
        ({"batch_volume_ml": 0, "percents": [3]}, "$.batch_volume_ml"),
        ({"batch_volume_ml": 100}, "$.nominal_percent"),
        ({"batch_volume_ml": 100, "percents": [3, 0]}, "$.percents[1]"),
        ({"batch_volume_ml": 100, "percents": []}, "$.percents"),
        ({"batch_volume_ml": 100, "percents": [3], "nominal_percent": 3}, "$"),
        ({"batch_volume_ml": 100, "nominal_percent": 99.5}, "$.nominal_percent"),
        (
            {"batch_volume_ml": 100, "percents": [3], "density_concentrate": 1.02},
            "$.density_water",
        ),
        (
            {
                "batch_volume_ml": 100,
                "percents": [3],
                "density_concentrate": 1020,
                "density_water": 998,
            },
            "$.density_concentrate",
        ),
    ],
)
def test_impossible_recipe_is_refused_at_its_place(given, path):
    assert path_of_refusal("recipe", given) == path


def a_supply(**changed):
    demand = {"name": "monitor", "solution_flow_l_min": 1000, "percent": 3.9, **changed}
    return {"usable_volume_l": 300, "required_minutes": 10, "demands": [demand]}


def test_rich_proportioner_inside_its_band_empties_the_tank_early():
    # Pitfall 65: 300 L for 10 minutes at 3.0 % last 7.69 minutes at 3.9 %.
    found = answered("supply", a_supply())
    assert found["minutes"] == pytest.approx(300 / 39)
    assert found["enough"] is False
    assert found["demands"] == [{"name": "monitor", "concentrate_l_min": pytest.approx(39)}]
    assert answered("supply", a_supply(percent=3.0))["enough"] is True


def test_demand_that_ends_leaves_the_rest():
    found = answered("supply", a_supply(minutes=5))
    assert found["minutes"] is None
    assert found["left_l"] == pytest.approx(300 - 5 * 39)
    assert found["enough"] is True


@pytest.mark.parametrize(
    ("changed", "path"),
    [
        ({"percent": 0}, "$.demands[0].percent"),
        ({"percent": 1e-9}, "$.demands[0].percent"),
        ({"solution_flow_l_min": "1000"}, "$.demands[0].solution_flow_l_min"),
        ({"minutes": -1}, "$.demands[0].minutes"),
        ({"name": ""}, "$.demands[0].name"),
    ],
)
def test_impossible_demand_is_refused_at_its_place(changed, path):
    assert path_of_refusal("supply", a_supply(**changed)) == path
