"""A bench evaluated without storing anything: the engine's own answer, and its own refusals."""

import json
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps

import calc
from calc.errors import CalcError
from itm.accounts.models import ApiToken
from itm.api.v1.computing import EXAMPLE, MOST_READINGS, place
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db
BENCH = json.loads(Path("fixtures/demo/bench.json").read_text())


def rows() -> dict[str, int]:
    return {
        model._meta.label: model._base_manager.count()
        for model in apps.get_models()
        if model is not ApiToken
    }


@pytest.mark.parametrize("form", [BENCH, EXAMPLE])
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
