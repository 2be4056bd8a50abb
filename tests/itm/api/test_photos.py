"""Photos by the interface: one file of one thing, kept once, refused with a sentence."""

import hashlib
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from itm.records.models import Photo
from itm.registry.models import Attachment
from tests import deeds
from tests.itm.api.conftest import refused
from tests.itm.registry.pictures import PDF, picture

pytestmark = pytest.mark.django_db
PICTURE = picture()


@pytest.fixture
def run(scene: Any) -> Any:
    return deeds.prepared(scene).test.runs.first()


def send(ours: Any, key: Any = None, data: bytes = PICTURE, **parts: Any) -> Any:
    body = {"file": SimpleUploadedFile("IMG_17.png", data), **parts}
    return ours.post("/api/v1/photos/", body, headers={"Idempotency-Key": str(key or uuid4())})


def test_photo_hangs_on_its_run_under_the_key_of_the_request(
    scene: Any, program: Any, run: Any, client: Any, sign_in: Any
) -> None:
    key, digest = uuid4(), hashlib.sha256(PICTURE).hexdigest()
    got = send(program(scene.contractor), key, run=str(run.key), sha256=digest)
    assert got.status_code == 201, got.content
    kept = Photo.objects.get()
    assert (kept.key, kept.run) == (key, run)
    assert got.json() == {
        "photo": str(key), "file": str(kept.attachment.key), "sha256": kept.attachment.sha256,
    }  # fmt: skip
    assert kept.attachment.sha256 == digest
    page = sign_in(client, scene.contractor).get(reverse("discharge", args=[run.test.key]))
    assert reverse("attachment_file", args=[kept.attachment.key]) in page.content.decode()


def test_photo_sent_three_times_is_one_and_another_under_its_key_is_refused(
    scene: Any, program: Any, run: Any
) -> None:
    ours, key = program(scene.contractor), uuid4()
    told = [send(ours, key, run=str(run.key)) for _ in range(3)]
    assert {got.content for got in told} == {told[0].content}
    assert [got.get("Idempotency-Repeated") for got in told] == [None, "true", "true"]
    assert Photo.objects.count() == Attachment.objects.count() == 1
    refused(send(ours, key, picture(size=(20, 20)), run=str(run.key)), 422, "other_body")


@pytest.mark.parametrize(
    ("data", "parts", "pointer", "code"),
    [
        (PICTURE, {"sha256": "0" * 64}, "/sha256", "other_digest"),
        (PICTURE, {"sha256": "0"}, "/sha256", "invalid"),
        (PICTURE, {"at": "noon"}, "/at", "bad_entry"),
        (PICTURE, {"at": "2026-06-15T10:00:00"}, "/at", "time_without_zone"),
        (PICTURE, {"odd": "1"}, "/odd", "unknown_key"),
        (PICTURE, {"visit": str(uuid4())}, "", "not_one_thing"),
        (PICTURE, {"run": ""}, "/run", "invalid"),
        (PICTURE, {"run": str(uuid4())}, "/run", "not_found"),
        (PICTURE[: len(PICTURE) // 2], {}, "/file", "broken_picture"),
        (PDF, {}, "/file", "not_a_picture"),
        (b"", {}, "/file", "empty_file"),
    ],
)
def test_refusal_points_at_its_part_and_nothing_is_kept(
    scene: Any, program: Any, run: Any, data: bytes, parts: Any, pointer: str, code: str
) -> None:
    got = send(program(scene.contractor), None, data, **({"run": str(run.key)} | parts))
    [fault] = refused(got, 422, got.json()["code"])
    assert (fault["pointer"], fault["code"]) == (pointer, code)
    assert not Photo.objects.exists()
    assert not Attachment.objects.exists()


def test_body_without_a_file_or_not_in_parts_is_told_so(scene: Any, program: Any, run: Any) -> None:
    ours, headers = program(scene.contractor), {"Idempotency-Key": str(uuid4())}
    got = ours.post("/api/v1/photos/", {"run": str(run.key)}, headers=headers)
    refused(got, 422, "file_missing")
    got = ours.ask("post", "/photos/", {"run": str(run.key)}, Idempotency_Key=str(uuid4()))
    refused(got, 415, "unsupported_media_type")
    refused(ours.post("/api/v1/photos/", {"run": str(run.key)}), 400, "key_missing")


def test_who_is_not_of_the_crew_keeps_no_photo(scene: Any, program: Any, run: Any) -> None:
    assert send(program(scene.owner), run=str(run.key)).status_code in (403, 422)
    assert not Photo.objects.exists()
