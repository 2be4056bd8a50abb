"""What goes wrong under /api/ is worded one way (RFC 9457), whoever notices it."""

import gzip
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from itm.api import bodies
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "path", ["/api/", "/api/v1/", "/api/v1/sites", "/api/v1/sites/x/", "/api/v2/sites/"]
)
@pytest.mark.parametrize("method", ["get", "post"])
def test_address_that_is_none_leads_nowhere_else(path: str, method: str) -> None:
    client = Client(enforce_csrf_checks=True)  # a program has no form of ours
    refused(getattr(client, method)(path), 404, "not_found")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Bearer nonsense", "token_unknown"),
        ("Bearer ", "token_unknown"),
        ("Bearer itm.0123456789ab.\xff", "token_unknown"),
        ("Basic YTpi", "not_signed_in"),
        ("", "not_signed_in"),
    ],
)
def test_who_has_no_token_is_told_how_to_send_one(client: Client, text: str, code: str) -> None:
    got = client.get("/api/v1/sites/", headers={"Authorization": text})
    refused(got, 401, code)
    assert got["WWW-Authenticate"].startswith('Bearer realm="foam-itm"')


def test_method_that_is_not_taken_is_named_with_those_that_are(scene: Any, program: Any) -> None:
    ours = program(scene.owner)
    for method in ("delete", "put", "options", "trace"):
        got = ours.ask(method, "/sites/")
        refused(got, 405, "method_not_allowed")
        assert got["Allow"] == "GET, HEAD"


def test_other_answer_than_json_is_refused(scene: Any, program: Any) -> None:
    refused(program(scene.owner).ask("get", "/sites/", Accept="text/html"), 406, "not_acceptable")


def test_other_body_than_json_is_refused(scene: Any, program: Any) -> None:
    got = program(scene.owner).post("/api/v1/evaluate/", {"method": "brix"})
    refused(got, 415, "unsupported_media_type")


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b'{"a": 1', "not_json"),
        (b'{"a": NaN}', "not_json"),
        (b'{"a": -Infinity}', "not_json"),
        (b"9" * 5000, "not_json"),
        (b"\xff{}", "not_utf8"),
        (b"[" * 100_000, "nested_too_deep"),
        (b'{"a": 1, "a": 2}', "repeated_key"),
        (rb'{"a": ["x", "\ud800"]}', "broken_text"),
        (rb'{"a\u0000": 1}', "broken_text"),
        (gzip.compress(b"{}"), "not_utf8"),
    ],
)
def test_body_that_cannot_be_read_says_why(
    scene: Any, program: Any, body: bytes, code: str
) -> None:
    got = program(scene.owner).post("/api/v1/evaluate/", body, content_type="application/json")
    refused(got, 400, code)


def test_broken_text_is_pointed_at(scene: Any, program: Any) -> None:
    body = b'{"a": ["x", {"b/c": "\\u0000"}]}'
    got = program(scene.owner).post("/api/v1/evaluate/", body, content_type="application/json")
    assert [one["pointer"] for one in refused(got, 400, "broken_text")] == ["/a/1/b~1c"]


@pytest.mark.parametrize("honest", [True, False])
def test_body_that_is_too_large_is_not_read_to_its_end(
    scene: Any, program: Any, honest: bool
) -> None:
    body = b" " * 200_001
    more = {} if honest else {"CONTENT_LENGTH": "10"}
    got = program(scene.owner).generic(
        "POST", "/api/v1/evaluate/", body, content_type="application/json", **more
    )
    if honest:
        refused(got, 413, "too_large")
    else:  # what is not said to come is not read
        refused(got, 400, "not_json")


def test_stream_without_a_length_stops_at_the_most() -> None:
    class Endless:
        read_so_far = 0

        def read(self, size: int) -> bytes:
            Endless.read_so_far += size
            return b" " * size

    class Request:
        META: dict[str, str] = {}

    with pytest.raises(bodies.Problem) as problem:
        bodies.Json().parse(Endless(), parser_context={"request": Request()})  # type: ignore[arg-type]
    assert (problem.value.status_code, Endless.read_so_far) == (413, bodies.LARGEST + 1)


def test_fault_of_ours_is_worded_and_says_nothing_of_the_inside(
    scene: Any, program: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: Any) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr("itm.registry.queries.site", broken)
    ours = program(scene.owner)
    ours.raise_request_exception = False
    got = ours.ask("get", f"/sites/{uuid4()}/")
    refused(got, 500, "server_error")
    assert b"inside" not in got.content


def test_host_that_is_not_ours_is_worded_too(client: Client) -> None:
    refused(client.get("/api/v1/sites/", headers={"Host": "elsewhere.example"}), 400, "malformed")


def test_pages_keep_their_own_wording(client: Client) -> None:
    got = client.get("/nothing-here/")
    assert (got.status_code, got["Content-Type"]) == (404, "text/html; charset=utf-8")
