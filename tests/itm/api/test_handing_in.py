"""A whole test day by a program, alone and among many: all of it or nothing, and once."""

import json
from copy import deepcopy
from typing import Any
from uuid import UUID, uuid4

import pytest

from itm.api.v1 import many_days
from itm.doors.entries import MOST_ENTRIES
from itm.records.models import ProportioningTest, Visit
from tests.doors.documents import day_document
from tests.factories import GrantFactory, OrganisationFactory, actor_of
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _all_the_time_in_the_world(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine must not leave days over where the test is about something else."""
    monkeypatch.setattr(many_days, "SECONDS", 3600)


@pytest.fixture
def document(scene: Any) -> dict[str, Any]:
    return day_document(scene)


def hand_in(program: Any, document: Any, key: UUID | None = None) -> Any:
    return program.ask("post", "/tests/", document, Idempotency_Key=str(key or uuid4()))


def another(document: dict[str, Any], day: int) -> dict[str, Any]:
    """The same day in another month."""
    text = json.dumps(document).replace("2026-06-15", f"2025-{day:02d}-15")
    found: dict[str, Any] = json.loads(text)
    return found


def test_day_is_handed_in_and_then_read(scene: Any, program: Any, document: Any) -> None:
    ours = program(scene.contractor, "hand_in", "read")
    got = hand_in(ours, document)
    assert got.status_code == 201, got.content
    made = got.json()
    [test] = made["tests"]
    assert (test["state"], test["limits"]) == ("handed_in", "in band")
    visit = ours.read(got["Location"].removeprefix("/api/v1"))
    assert (visit["key"], visit["tests"]) == (made["visit"], [test["test"]])
    told = ours.read(f"/tests/{test['test']}/")
    assert told["document"]["handed_in"]["by"] == scene.contractor.person
    assert told["seal"] is None  # signing stays with a person


def test_ten_repeats_make_one_day(scene: Any, program: Any, document: Any) -> None:
    ours, key = program(scene.contractor), uuid4()
    answers = [hand_in(ours, document, key) for _ in range(10)]
    assert {(got.status_code, got.content) for got in answers} == {(201, answers[0].content)}
    assert [got.get("Idempotency-Repeated") for got in answers] == [None, *["true"] * 9]
    assert Visit.objects.count() == ProportioningTest.objects.count() == 1
    refused(hand_in(ours, document | {"about": "other"}, key), 422, "other_body")


def test_every_problem_stands_at_its_place_and_nothing_is_kept(
    scene: Any, program: Any, document: Any
) -> None:
    document["tests"][0]["runs"][0]["solution_flow"] = "much"
    document["tests"][0]["restoration"].pop()
    document["benches"][0]["standards"][1]["readings"][0]["value"] = 1.3336
    found = refused(hand_in(program(scene.contractor), document), 422, "day_refused")
    assert {one["pointer"] for one in found} >= {
        "/tests/0/runs/0/solution_flow", "/benches/0/standards/1/readings/0/value",
    }  # fmt: skip
    assert all(one["code"] and one["detail"] for one in found)
    assert not Visit.objects.exists()


@pytest.mark.parametrize("who", ["owner", "authority"])
def test_who_does_not_test_is_refused(scene: Any, program: Any, document: Any, who: str) -> None:
    got = hand_in(program(getattr(scene, who)), document)
    assert got.status_code in (403, 422)
    assert not Visit.objects.exists()


def test_contractor_of_elsewhere_finds_no_site(program: Any, document: Any) -> None:
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    got = hand_in(program(stranger), document)
    assert any(one["pointer"] == "/visit/site" for one in refused(got, 422, "day_refused"))


@pytest.mark.parametrize("body", [[], {}, {"tests": []}, {"visit": 3}, "x", 3, None])
def test_body_that_is_no_day_is_refused(scene: Any, program: Any, body: Any) -> None:
    got = program(scene.contractor).post(
        "/api/v1/tests/", json.dumps(body), content_type="application/json",
        headers={"Idempotency-Key": str(uuid4())},
    )  # fmt: skip
    refused(got, 422, "day_refused")


# Many at once -----------------------------------------------------------------------------------


def in_bulk(program: Any, *days: Any) -> dict[str, Any]:
    got = program.ask("post", "/tests/bulk/", {"days": days})
    assert got.status_code == 200, got.content
    answer: dict[str, Any] = got.json()
    return answer


def states(answer: dict[str, Any]) -> list[str]:
    return [one["state"] for one in answer["answers"]]


def test_each_day_is_judged_by_itself(scene: Any, program: Any, document: Any) -> None:
    wrong = deepcopy(document)
    wrong["tests"][0]["runs"][0]["solution_flow"] = "much"
    days = [
        {"key": str(uuid4()), "document": another(document, 1)},
        {"key": str(uuid4()), "document": wrong},
        {"key": "x", "document": document},
        {"key": str(uuid4())},
        {"key": str(uuid4()), "document": document},
    ]
    ours = program(scene.contractor)
    answer = in_bulk(ours, *days)
    assert states(answer) == ["taken", "refused", "refused", "refused", "taken"]
    assert answer["left"] == 0
    assert [one["key"] for one in answer["answers"]] == [day["key"] for day in days]
    pointers = [[e["pointer"] for e in one["errors"]] for one in answer["answers"]]
    assert pointers[1:4] == [["/tests/0/runs/0/solution_flow"], ["/key"], ["/document"]]
    assert answer["answers"][0]["made"]["tests"][0]["state"] == "handed_in"
    again = in_bulk(ours, *days)
    assert states(again) == ["taken_before", "refused", "refused", "refused", "taken_before"]
    assert again["answers"][0]["made"] == answer["answers"][0]["made"]
    assert Visit.objects.count() == 2


def test_what_time_does_not_reach_is_said_and_comes_with_the_next(
    scene: Any, program: Any, document: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    days = [{"key": str(uuid4()), "document": another(document, n)} for n in (1, 2, 3)]
    monkeypatch.setattr(many_days, "SECONDS", -1)
    ours = program(scene.contractor)
    found = [in_bulk(ours, *days) for _ in range(2)]
    assert [states(answer) for answer in found] == [
        ["taken", "not_yet", "not_yet"], ["taken_before", "not_yet", "not_yet"],
    ]  # fmt: skip
    assert found[0]["left"] == 2
    monkeypatch.setattr(many_days, "SECONDS", 3600)
    assert states(in_bulk(ours, *days)) == ["taken_before", "taken", "taken"]


def test_contractor_reads_the_bench_with_its_own_instrument(
    scene: Any, program: Any, document: Any
) -> None:
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    answer = in_bulk(program(stranger), {"key": str(uuid4()), "document": document})
    assert states(answer) == ["refused"]
    GrantFactory(site=scene.site, organisation=stranger.organisation)
    answer = in_bulk(program(stranger), {"key": str(uuid4()), "document": document})
    [said] = answer["answers"]
    assert "/benches/0/instrument" in {one["pointer"] for one in said["errors"]}


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/days"),
        ({"days": []}, "/days"),
        ({"days": [3]}, "/days/0"),
        ({"days": [{}] * 1001}, "/days"),
        ({"days": [{}], "odd": 1}, "/odd"),
    ],
)
def test_body_that_holds_no_days_is_refused(
    scene: Any, program: Any, body: Any, pointer: str
) -> None:
    got = program(scene.contractor).ask("post", "/tests/bulk/", body)
    assert [one["pointer"] for one in refused(got, 422, "not_valid")] == [pointer]


def test_device_gets_the_day_that_it_works(scene: Any, program: Any, document: Any) -> None:
    ours = program(scene.contractor)
    made = hand_in(ours, document).json()
    day = ours.read(f"/visits/{made['visit']}/day/")
    assert day["visit"]["key"] == made["visit"]
    assert [test["key"] for test in day["tests"]] == [made["tests"][0]["test"]]
    assert MOST_ENTRIES > len(day["restoration"]) > 0
