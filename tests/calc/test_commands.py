"""The commands beside `evaluate`: results from a form, refusals with the JSON path."""

import json

import pytest

from tests.calc.test_command import in_process, refused


def answered(command, given):
    code, stdout, stderr = in_process(command, "-", data=json.dumps(given).encode())
    assert (code, stderr) == (0, "")
    return json.loads(stdout)


def path_of_refusal(command, given):
    return refused(*in_process(command, "-", data=json.dumps(given).encode()))


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
