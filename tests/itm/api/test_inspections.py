"""Inspections handed in by a program: the page's rules, once for each key, faults pointed at."""

import hashlib
import json
from datetime import date
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile

from itm.records.models import Inspection
from itm.registry.models import Attachment
from itm.schedule.models import Duty
from tests.deeds import LOOKED, look_duty
from tests.factories import SiteFactory
from tests.itm.api.conftest import refused
from tests.itm.registry.pictures import picture

pytestmark = pytest.mark.django_db


@pytest.fixture
def duty(scene: Any) -> Duty:
    return look_duty(scene)


@pytest.fixture
def body(scene: Any, duty: Duty) -> dict[str, Any]:
    lines = [{"duty": str(duty.key), "answers": dict(LOOKED)}]
    return {"site": str(scene.site.key), "done_on": "2026-06-15", "lines": lines}


def hand_in(program: Any, body: Any, key: UUID | str | None = None) -> Any:
    return program.ask("post", "/inspections/", body, Idempotency_Key=str(key or uuid4()))


def test_inspection_is_recorded_by_the_person_of_the_token(
    scene: Any, program: Any, duty: Duty, body: Any
) -> None:
    ours = program(scene.contractor, "hand_in", "read")
    got = hand_in(ours, body)
    assert got.status_code == 201, got.content
    told = got.json()
    assert ours.read(got["Location"].removeprefix("/api/v1")) == told
    assert (told["person"], told["lines"][0]["outcome"]) == (scene.contractor.person, "in_order")
    duty.refresh_from_db()
    assert (duty.done_on, str(duty.done_by_record)) == (date(2026, 6, 15), told["key"])


def test_ten_repeats_make_one_record(scene: Any, program: Any, body: Any) -> None:
    ours, key = program(scene.contractor), uuid4()
    answers = [hand_in(ours, body, key) for _ in range(10)]
    assert {(got.status_code, got.content) for got in answers} == {(201, answers[0].content)}
    assert [got.get("Idempotency-Repeated") for got in answers] == [None, *["true"] * 9]
    assert Inspection.objects.count() == 1


def test_other_body_under_the_same_key_is_refused(scene: Any, program: Any, body: Any) -> None:
    ours, key = program(scene.contractor), uuid4()
    hand_in(ours, body, key)
    refused(hand_in(ours, body | {"note": "other"}, key), 422, "other_body")


def test_refused_work_leaves_the_key_free(scene: Any, program: Any, body: Any) -> None:
    ours, key = program(scene.contractor), uuid4()
    refused(hand_in(ours, body | {"done_on": "2100-01-01"}, key), 422, "day_ahead")
    assert hand_in(ours, body, key).status_code == 201


def test_key_in_flight_is_told_so(scene: Any, program: Any, body: Any) -> None:
    ours, key = program(scene.contractor), uuid4()
    cache.add(f"api-at-work-{scene.contractor.organisation_id}-{key}", 1)
    got = hand_in(ours, body, key)
    refused(got, 409, "in_flight")
    assert got["Retry-After"] == "1"
    cache.clear()
    assert hand_in(ours, body, key).status_code == 201


@pytest.mark.parametrize(("key", "code"), [("", "key_missing"), ("7", "key_malformed")])
def test_key_is_asked_for(scene: Any, program: Any, body: Any, key: str, code: str) -> None:
    got = program(scene.contractor).ask("post", "/inspections/", body, Idempotency_Key=key)
    refused(got, 400, code)


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"lines": [{"answers": {"fit": "no way"}}]}, "/lines/0/answers/fit", "not_a_choice"),
        ({"lines": [{"answers": {"fit": ""}}]}, "/lines/0/answers/fit", "missing"),
        ({"lines": [{"answers": {"odd": "x"}}]}, "/lines/0/answers/odd", "unknown_key"),
        ({"lines": [{"reason": "no key"}]}, "/lines/0/reason", "both"),
        ({"lines": [{"duty": str(uuid4())}]}, "/lines/0/duty", "not_asked"),
        ({"lines": [{"duty": "x"}]}, "/lines/0/duty", "invalid"),
        ({"lines": [{}, {}]}, "/lines/1/duty", "not_asked"),
        ({"lines": []}, "/lines", "empty"),
        ({"site": str(uuid4())}, "/site", "not_found"),
        ({"visit": str(uuid4())}, "/visit", "not_found"),
        ({"done_on": "15.6.2026"}, "/done_on", "invalid"),
        ({"done_on": "2100-01-01"}, "/done_on", "day_ahead"),
        ({"odd": 1}, "/odd", "unknown_key"),
        ({"site": None}, "/site", "null"),
    ],
)
def test_refusal_points_at_its_place_and_nothing_is_stored(
    scene: Any, program: Any, body: Any, change: Any, pointer: str, code: str
) -> None:
    [line] = body["lines"]
    if lines := change.get("lines"):
        given = [
            line | one | {"answers": line["answers"] | one.get("answers", {})} for one in lines
        ]
        change = {"lines": given}
    got = hand_in(program(scene.contractor), body | change)
    [fault] = refused(got, 422, got.json()["code"])
    assert (fault["pointer"], fault["code"]) == (pointer, code)
    assert not Inspection.objects.exists()


@pytest.fixture
def wants_photo(duty: Duty, body: Any) -> Any:
    """The task wants a photo as well, and the answer names the part that holds it."""
    row = duty.requirement
    row.evidence = [*row.evidence, {"key": "photo", "label": "Photo", "kind": "photo"}]
    row.save()
    body["lines"][0]["answers"]["photo"] = "top"
    return body


def send(ours: Any, body: Any, key: Any = None, **files: bytes) -> Any:
    parts: dict[str, Any] = {"inspection": json.dumps(body)}
    parts |= {name: SimpleUploadedFile(f"{name}.png", data) for name, data in files.items()}
    headers = {"Idempotency-Key": str(key or uuid4())}
    return ours.post("/api/v1/inspections/", parts, headers=headers)


def test_photo_is_not_taken_by_its_name(scene: Any, program: Any, wants_photo: Any) -> None:
    [fault] = refused(hand_in(program(scene.contractor), wants_photo), 422, "photo_missing")
    assert fault["pointer"] == "/lines/0/answers/photo"
    assert not Inspection.objects.exists()


def test_photo_comes_with_its_inspection_and_once(
    scene: Any, program: Any, wants_photo: Any
) -> None:
    ours, key, image = program(scene.contractor), uuid4(), picture()
    first = send(ours, wants_photo, key, top=image)
    assert first.status_code == 201, first.content
    [answer] = [one for one in first.json()["lines"][0]["answers"] if one["kind"] == "photo"]
    assert answer["sha256"] == hashlib.sha256(image).hexdigest()
    assert answer["typed"] == "top.png"
    again = send(ours, wants_photo, key, top=image)
    assert (again.content, again["Idempotency-Repeated"]) == (first.content, "true")
    assert Attachment.objects.count() == Inspection.objects.count() == 1
    refused(send(ours, wants_photo, key, top=picture(size=(20, 20))), 422, "other_body")


def test_file_that_is_no_picture_points_at_its_answer_and_leaves_nothing(
    scene: Any, program: Any, wants_photo: Any
) -> None:
    got = send(program(scene.contractor), wants_photo, top=b"not a picture")
    [fault] = refused(got, 422, got.json()["code"])
    assert fault["pointer"] == "/lines/0/answers/photo"
    assert not Inspection.objects.exists()
    assert not Attachment.objects.exists()


def test_picture_that_no_answer_names_is_not_lost_in_silence(
    scene: Any, program: Any, wants_photo: Any
) -> None:
    got = send(program(scene.contractor), wants_photo, top=picture(), other=picture())
    refused(got, 422, "file_not_named")
    assert not Inspection.objects.exists()


def test_parts_without_the_inspection_are_refused(scene: Any, program: Any) -> None:
    ours, key = program(scene.contractor), {"Idempotency-Key": str(uuid4())}
    got = ours.post("/api/v1/inspections/", {"note": "x"}, headers=key)
    refused(got, 422, "inspection_missing")
    broken = ours.post("/api/v1/inspections/", {"inspection": "{"}, headers=key)
    refused(broken, 400, "not_json")


def test_a_check_is_not_completed_by_an_inspection(scene: Any, program: Any, body: Any) -> None:
    check = Duty.objects.get(tank=scene.tank, done_on=None, requirement__task="concentrate_check")
    body["lines"][0]["duty"] = str(check.key)
    [fault] = refused(hand_in(program(scene.contractor), body), 422, "other_record")
    assert fault["pointer"] == "/lines/0/duty"
    assert "only the seal of a concentrate check" in fault["detail"]
    check.refresh_from_db()
    assert check.done_on is None


def test_authority_does_not_inspect_and_a_stranger_finds_no_site(
    scene: Any, program: Any, body: Any
) -> None:
    refused(hand_in(program(scene.authority), body), 403, "forbidden")
    other = program(scene.owner).ask  # a site of somebody else is a fault of the body
    got = other(
        "post", "/inspections/", body | {"site": str(SiteFactory().key)},
        Idempotency_Key=str(uuid4()),
    )  # fmt: skip
    [fault] = refused(got, 422, "not_found")
    assert fault["pointer"] == "/site"
