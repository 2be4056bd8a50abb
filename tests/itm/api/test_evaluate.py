"""A test evaluated without storing anything: the engine's own answer, and its own refusals."""

import json
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps

import calc
from calc.direct_form import evaluate_direct
from calc.errors import CalcError
from itm.accounts.models import ApiToken
from itm.api.v1.computing import MOST_READINGS, place
from itm.api.v1.engine_forms import ANY, BENCH_EXAMPLE, DIRECT, DIRECT_EXAMPLES, WEIGHED_EXAMPLE
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db
BENCH = json.loads(Path("fixtures/demo/bench.json").read_text())
FROZEN = {
    file.stem: json.loads(file.read_text())
    for file in sorted(Path("fixtures/frozen/direct/2.1").glob("*.json"))
}


def rows() -> dict[str, int]:
    return {
        model._meta.label: model._base_manager.count()
        for model in apps.get_models()
        if model is not ApiToken
    }


@pytest.mark.parametrize("form", [BENCH, BENCH_EXAMPLE, WEIGHED_EXAMPLE])
def test_answer_is_the_engines_and_nothing_is_kept(scene: Any, program: Any, form: Any) -> None:
    ours = program(scene.owner, "evaluate")
    before = rows()
    got = ours.ask("post", "/evaluate/", form)
    assert got.status_code == 200
    assert got.json() == {
        "engine_version": calc.__version__,
        "result": json.loads(json.dumps(calc.evaluate(form).as_dict())),
    }
    assert rows() == before


@pytest.mark.parametrize("case", FROZEN.values(), ids=list(FROZEN))
def test_direct_test_is_answered_as_the_archive_has_it(
    scene: Any, program: Any, case: dict[str, Any]
) -> None:
    """The archive of engine 2.1, written when that was released; 1e-9 as between machines."""
    ours = program(scene.owner, "evaluate")
    before = rows()
    got = ours.ask("post", "/evaluate/", case["input"])
    assert got.status_code == 200
    told, kept = got.json()["result"], case["result"]
    assert set(told) == set(kept)
    assert (told["line"], told["method"]) == (None, kept["method"])
    for mine, theirs in zip(told["flow_points"], kept["flow_points"], strict=True):
        assert mine["percent"] == pytest.approx(theirs["percent"], rel=1e-9)
        assert mine["interval"] == pytest.approx(theirs["interval"], rel=1e-9)
        assert [mine[key] for key in ("name", "limits", "certainty")] == [
            theirs[key] for key in ("name", "limits", "certainty")
        ]
    assert [w["code"] for w in told["warnings"]] == [w["code"] for w in kept["warnings"]]
    assert rows() == before


@pytest.mark.parametrize("form", DIRECT_EXAMPLES.values(), ids=list(DIRECT_EXAMPLES))
def test_example_of_the_description_is_taken_as_it_stands(
    scene: Any, program: Any, form: dict[str, Any]
) -> None:
    got = program(scene.owner, "evaluate").ask("post", "/evaluate/", form)
    assert got.status_code == 200
    assert got.json()["result"]["flow_points"][0]["limits"] == "in band"


def test_description_asks_of_each_direct_method_what_the_engine_asks() -> None:
    """Left out one by one, every key that the description requires is missed by the engine, too."""
    assert ANY["oneOf"][1:] == list(DIRECT.values())
    for form in DIRECT_EXAMPLES.values():
        described = DIRECT[form["method"]]
        assert set(described["required"]) == set(form)
        point = described["properties"]["flow_points"]["items"]
        assert set(point["required"]) == set(form["flow_points"][0])
        for key in set(form) - {"method"}:
            with pytest.raises(CalcError, match="missing"):
                evaluate_direct({name: value for name, value in form.items() if name != key})


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"meter_in": "air"}, "/meter_in", "unknown_choice"),
        ({"method": "guess"}, "/method", "unknown_choice"),
        ({"method": 3}, "/method", "unknown_choice"),
        ({"flow_points": []}, "/flow_points", "empty_list"),
        ({"flow_points": [{"name": "design"}]}, "/flow_points/0/concentrate_flow", "missing_key"),
        (
            {
                "flow_points": [
                    {
                        "name": "design",
                        "concentrate_flow": {"value": -1, "standard_uncertainty": 1},
                        "second_flow": {"value": 1, "standard_uncertainty": 1},
                    }
                ]
            },
            "/flow_points/0/concentrate_flow",
            "out_of_range",
        ),
    ],
)
def test_refusal_of_a_direct_test_points_into_the_body(
    scene: Any, program: Any, change: Any, pointer: str, code: str
) -> None:
    form = DIRECT_EXAMPLES["Two flows"] | change
    [fault] = refused(program(scene.owner).ask("post", "/evaluate/", form), 422, "not_valid")
    assert (fault["pointer"], fault["code"]) == (pointer, code)


def test_unknown_method_is_told_every_known_one(scene: Any, program: Any) -> None:
    got = program(scene.owner).ask("post", "/evaluate/", {"method": "guess"})
    [fault] = refused(got, 422, "not_valid")
    for known in ("refractive_index", "conductivity", "draw_down", "weighed", "other_liquid"):
        assert known in fault["detail"]


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"nominal_percent": 0}, "/nominal_percent", "out_of_range"),
        ({"water": []}, "/water", "empty_list"),
        ({"odd": 1}, "", "unknown_key"),
        ({"standards": [{"percent": 3, "readings": []}]}, "/standards/0/readings", "empty_list"),
    ],
)
def test_refusal_points_into_the_body(
    scene: Any, program: Any, change: Any, pointer: str, code: str
) -> None:
    got = program(scene.owner).ask("post", "/evaluate/", BENCH | change)
    [fault] = refused(got, 422, "not_valid")
    assert (fault["pointer"], fault["code"]) == (pointer, code)
    with pytest.raises(CalcError) as error:
        calc.evaluate(BENCH | change)
    assert fault["detail"] == error.value.message


@pytest.mark.parametrize("body", [[], 3, None, "x", {}])
def test_body_that_is_no_form_is_refused(scene: Any, program: Any, body: Any) -> None:
    got = program(scene.owner).post(
        "/api/v1/evaluate/", json.dumps(body), content_type="application/json"
    )
    refused(got, 422, "not_valid")


def test_too_many_readings_are_refused_before_the_work(scene: Any, program: Any) -> None:
    many = BENCH | {"water": BENCH["water"][:1] * MOST_READINGS}
    refused(program(scene.owner).ask("post", "/evaluate/", many), 422, "too_many_readings")


def test_path_of_the_engine_becomes_a_pointer() -> None:
    assert place("$") == ""
    assert place("$.standards[1].readings[0].value") == "/standards/1/readings/0/value"
