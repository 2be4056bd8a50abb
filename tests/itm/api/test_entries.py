"""Entries of a test day by a program: each judged by itself, each taken once."""

from typing import Any
from uuid import uuid4

import pytest

from itm.api.docs import description
from itm.doors.entries import MOST_ENTRIES
from itm.doors.verbs import VERBS
from itm.records.models import FlowRun
from tests.deeds import prepared
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(scene: Any) -> FlowRun:
    return prepared(scene).test.runs.first()


def noted(run: FlowRun, flow: str = "610 L/min") -> dict[str, Any]:
    return {
        "key": str(uuid4()),
        "verb": "note_run",
        "of": {"run": str(run.key)},
        "put": {"solution_flow": flow, "flow_source": "meter", "inlet_pressure": "7.2 bar"},
        "at": "2026-06-15T08:20:00+01:00",
    }


def hand_over(program: Any, *entries: Any, **more: Any) -> list[dict[str, Any]]:
    got = program.ask("post", "/entries/", {"entries": entries, **more})
    assert got.status_code == 200, got.content
    body = got.json()
    assert body["server_now"]
    answers: list[dict[str, Any]] = body["answers"]
    return answers


def test_entry_is_taken_once(scene: Any, program: Any, run: FlowRun) -> None:
    ours, entry = program(scene.contractor, "hand_in"), noted(run)
    states = [hand_over(ours, entry)[0]["state"] for _ in range(3)]
    assert states == ["taken", "taken_before", "taken_before"]
    run.refresh_from_db()
    assert (run.solution_flow_typed, run.inlet_pressure_typed) == ("610 L/min", "7.2 bar")


def test_one_that_is_wrong_stops_no_other(scene: Any, program: Any, run: FlowRun) -> None:
    wrong = noted(run, "much")
    first, second, third = hand_over(
        program(scene.contractor), wrong, {"verb": "dance"}, noted(run),
        device_now="2026-06-15T08:21:00+01:00",
    )  # fmt: skip
    assert (first["state"], first["place"], first["key"]) == (
        "refused", "solution_flow", wrong["key"],
    )  # fmt: skip
    assert (second["state"], second["code"]) == ("refused", "bad_entry")
    assert third["state"] == "taken"


def test_who_may_not_is_told_so_entry_by_entry(scene: Any, program: Any, run: FlowRun) -> None:
    [answer] = hand_over(program(scene.owner), noted(run))
    assert answer["state"] in ("forbidden", "not_found")
    run.refresh_from_db()
    assert run.solution_flow is None


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/entries"),
        ({"entries": []}, "/entries"),
        ({"entries": "x"}, "/entries"),
        ({"entries": [{}] * (MOST_ENTRIES + 1)}, "/entries"),
        ({"entries": [{}], "odd": 1}, "/odd"),
    ],
)
def test_body_that_holds_no_entries_is_refused(
    scene: Any, program: Any, body: Any, pointer: str
) -> None:
    got = program(scene.contractor).ask("post", "/entries/", body)
    assert [one["pointer"] for one in refused(got, 422, "not_valid")] == [pointer]


def test_clock_that_cannot_be_read_is_refused(scene: Any, program: Any, run: FlowRun) -> None:
    body = {"entries": [noted(run)], "device_now": "noon"}
    refused(program(scene.contractor).ask("post", "/entries/", body), 422, "bad_entry")


def test_description_tells_every_verb_and_its_fields() -> None:
    said = description()["paths"]["/api/v1/entries/"]["post"]["description"]
    for verb in VERBS.values():
        assert f"**{verb.name}**" in said
        assert all(f"`{field.name}`" in said for field in verb.put)


def test_request_with_a_key_of_its_own_is_answered_the_same_to_the_byte(
    scene: Any, program: Any, run: FlowRun
) -> None:
    ours, key, body = program(scene.contractor), str(uuid4()), {"entries": [noted(run)]}
    first, again = (ours.ask("post", "/entries/", body, Idempotency_Key=key) for _ in range(2))
    assert first.status_code == again.status_code == 200
    assert (first.content, again["Idempotency-Repeated"]) == (again.content, "true")
    assert first.json()["answers"][0]["state"] == "taken"
    other = {"entries": [noted(run)]}
    refused(ours.ask("post", "/entries/", other, Idempotency_Key=key), 422, "other_body")


def test_request_whose_entry_still_waits_may_come_again_under_its_key(
    scene: Any, program: Any, run: FlowRun
) -> None:
    ours, key, reading = program(scene.contractor), str(uuid4()), str(uuid4())
    waits = {
        "key": str(uuid4()), "verb": "set_aside", "of": {"reading": reading},
        "put": {"reason": "bubble"},
    }  # fmt: skip
    for _ in range(2):
        got = ours.ask("post", "/entries/", {"entries": [waits]}, Idempotency_Key=key)
        assert got.json()["answers"][0]["code"] == "waits"
        assert "Idempotency-Repeated" not in got.headers
