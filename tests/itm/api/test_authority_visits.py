"""An authority's program notes a visit: the rules of the page, once for each key, with files."""

import hashlib
import json
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile

from itm.core.history import Change
from itm.findings import asking, visiting
from itm.findings.models import AuthorityFile, AuthorityVisit
from itm.registry.attaching import MOST
from itm.registry.files import LARGEST
from tests.conftest import new_scene
from tests.factories import TODAY
from tests.itm.api.conftest import refused
from tests.itm.findings.test_visiting import AT
from tests.itm.registry.pictures import PDF, picture

pytestmark = pytest.mark.django_db
ALL = "/authority-visits/"


@pytest.fixture
def body(scene: Any) -> dict[str, Any]:
    return {
        "site": str(scene.site.key), "visited_on": "2026-06-15", "present": "A. Inspector",
        "looked_at": "The pump room. Two valves stood closed without a seal.",
    }  # fmt: skip


def note(program: Any, body: Any, key: Any = None, path: str = ALL) -> Any:
    return program.ask("post", path, body, Idempotency_Key=str(key or uuid4()))


def send(
    program: Any, body: Any, *files: tuple[str, bytes], key: Any = None, path: str = ALL,
    part: str = "file", **more: str,
) -> Any:  # fmt: skip
    parts = {"visit": json.dumps(body), **more}
    parts |= {part: [SimpleUploadedFile(name, data) for name, data in files]}
    return program.post(
        f"/api/v1{path}", parts, headers={"Idempotency-Key": str(key or uuid4())}
    )  # fmt: skip


def path_of(got: Any) -> str:
    assert got.status_code == 201, got.content
    place: str = got["Location"].removeprefix("/api/v1")
    return place


def withdraw(program: Any, path: str, because: str = "another site") -> Any:
    tag = program.ask("get", path).headers.get("ETag", '"none"')
    return program.ask("patch", path, {"withdrawn_because": because}, If_Match=tag)


def test_note_is_read_by_owner_and_authority_and_by_no_contractor(
    scene: Any, program: Any, body: Any
) -> None:
    got = note(program(scene.authority), body)
    path, told = path_of(got), got.json()
    assert {name: told[name] for name in ("visited_on", "present", "looked_at")} == {
        name: body[name] for name in ("visited_on", "present", "looked_at")
    }
    assert (told["noted_by"], told["files"], told["orders"]) == (scene.authority.person, [], [])
    for actor in (scene.owner, scene.authority):
        assert program(actor).read(path) == told
        [listed] = program(actor).read(ALL)["results"]
        assert (listed["key"], listed["ordered"]) == (told["key"], 0)
    for actor in (scene.contractor, new_scene().owner):
        refused(program(actor).ask("get", path), 404, "not_found")
        assert program(actor).read(ALL)["results"] == []
    last = Change.objects.filter(model="findings.AuthorityVisit").latest("pk")
    assert (last.via, last.verb) == ("api", "noted")


def test_only_an_authority_of_the_site_notes_a_visit(scene: Any, program: Any, body: Any) -> None:
    for actor in (scene.owner, scene.contractor):
        refused(note(program(actor), body), 403, "forbidden")
    [fault] = refused(note(program(new_scene().authority), body), 422, "not_found")
    assert fault["pointer"] == "/site"
    assert not AuthorityVisit.objects.exists()


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"visited_on": "2100-01-01"}, "/visited_on", "day_ahead"),
        ({"visited_on": "15.6.2026"}, "/visited_on", "invalid"),
        ({"present": " "}, "/present", "blank"),
        ({"looked_at": None}, "/looked_at", "null"),
        ({"looked_at": "x" * 4001}, "/looked_at", "max_length"),
        ({"site": "x"}, "/site", "invalid"),
        ({"because": "x"}, "/because", "unknown_key"),
    ],
)
def test_refusal_points_at_its_place_and_nothing_is_noted(
    scene: Any, program: Any, body: Any, change: Any, pointer: str, code: str
) -> None:
    got = note(program(scene.authority), body | change)
    [fault] = refused(got, 422, got.json()["code"])
    assert (fault["pointer"], fault["code"]) == (pointer, code)
    assert not AuthorityVisit.objects.exists()


def test_files_come_with_the_note_and_once(scene: Any, program: Any, body: Any) -> None:
    ours, key, image = program(scene.authority), uuid4(), picture()
    files = [("valve.png", image), ("list.pdf", PDF)]
    first = send(ours, body | {"caption": "the valve"}, *files, key=key)
    again = send(ours, body | {"caption": "the valve"}, *files, key=key)
    assert (again.content, again["Idempotency-Repeated"]) == (first.content, "true")
    told = first.json()["files"]
    assert [(one["name"], one["caption"]) for one in told] == [
        ("valve.png", "the valve"), ("list.pdf", "the valve"),
    ]  # fmt: skip
    for one, data in zip(told, (image, PDF), strict=True):
        assert one["sha256"] == hashlib.sha256(data).hexdigest()
        path = f"/authority-visit-files/{one['key']}/"
        assert program(scene.owner).read(path) == one
        got = program(scene.owner).ask("get", f"{path}bytes/")
        assert b"".join(got.streaming_content) == data
        assert got["Content-Type"] == one["content_type"]
        had = program(scene.owner).ask("get", f"{path}bytes/", If_None_Match=got["ETag"])
        assert had.status_code == 304
        for place in (path, f"{path}bytes/"):
            refused(program(scene.contractor).ask("get", place), 404, "not_found")
    assert (AuthorityVisit.objects.count(), AuthorityFile.objects.count()) == (1, 2)
    refused(send(ours, body | {"caption": "the valve"}, files[0], key=key), 422, "other_body")


def test_a_wrong_file_is_told_at_its_part_and_leaves_nothing(
    scene: Any, program: Any, body: Any
) -> None:
    ours = program(scene.authority)
    for files, code in (
        ([("list.pdf", PDF), ("odd.jpg", b"no picture")], "unknown_type"),
        ([("list.pdf", PDF), ("again.pdf", PDF)], "already_there"),
        ([(f"{n}.pdf", PDF) for n in range(MOST + 1)], "too_many"),
    ):
        [fault] = refused(send(ours, body, *files), 422, code)
        assert fault["pointer"] == "/file"
    refused(send(ours, body, ("list.pdf", PDF), part="paper"), 422, "unknown_part")
    refused(send(ours, body, ("list.pdf", PDF), caption="x"), 422, "unknown_part")
    got = ours.post("/api/v1" + ALL, {}, headers={"Idempotency-Key": str(uuid4())})
    refused(got, 422, "visit_missing")
    assert not AuthorityVisit.objects.exists()
    assert not default_storage.exists("authority") or not default_storage.listdir("authority")[1]


def test_a_file_that_is_too_large_is_named_and_nothing_is_noted_without_it(
    scene: Any, program: Any, body: Any
) -> None:
    large = b"%PDF-" + bytes(LARGEST)
    got = send(program(scene.authority), body, ("list.pdf", PDF), ("long.pdf", large))
    refused(got, 413, "too_large")
    assert "“long.pdf”" in got.json()["detail"]
    assert not AuthorityVisit.objects.exists()


def test_ten_repeats_note_one_visit(scene: Any, program: Any, body: Any) -> None:
    ours, key = program(scene.authority), uuid4()
    answers = [note(ours, body, key) for _ in range(10)]
    assert {(got.status_code, got.content) for got in answers} == {(201, answers[0].content)}
    assert AuthorityVisit.objects.count() == 1
    refused(note(ours, body | {"present": "B"}, key), 422, "other_body")
    refused(ours.ask("post", ALL, body), 400, "key_missing")


def test_a_wrong_note_is_put_right_by_another_that_has_its_files(
    scene: Any, program: Any, body: Any
) -> None:
    ours, key = program(scene.authority), uuid4()
    path = path_of(send(ours, body, ("valve.png", picture())))
    right = {"because": "the day was wrong", "visited_on": "2026-06-14"}
    there = f"{path}corrections/"
    for actor, status in ((scene.owner, 403), (scene.contractor, 404)):
        assert note(program(actor), right, path=there).status_code == status
    got = send(ours, right, ("list.pdf", PDF), key=key, path=there)
    new, told = path_of(got), got.json()
    assert (told["visited_on"], told["present"]) == ("2026-06-14", body["present"])
    assert [one["name"] for one in told["files"]] == ["valve.png", "list.pdf"]
    was = program(scene.owner).read(path)
    assert (was["withdrawn_because"], was["visited_on"]) == ("the day was wrong", "2026-06-15")
    assert (was["replaced_by"], told["replaces"]) == (told["key"], was["key"])
    assert ours.read(new) == told
    again = send(ours, right, ("list.pdf", PDF), key=key, path=there)
    assert (again.content, again["Idempotency-Repeated"]) == (got.content, "true")
    refused(note(ours, right, path=there), 409, "conflict")
    refused(note(ours, right, key, path=f"{new}corrections/"), 422, "other_body")
    assert AuthorityVisit.objects.count() == 2


def test_a_refused_correction_withdraws_nothing(scene: Any, program: Any, body: Any) -> None:
    ours = program(scene.authority)
    path = path_of(note(ours, body))
    for wrong, pointer in (
        ({"because": "x", "visited_on": "2100-01-01"}, "/visited_on"),
        ({"visited_on": "2026-06-14"}, "/because"),
        ({"because": "x", "site": body["site"]}, "/site"),
    ):
        got = note(ours, wrong, path=f"{path}corrections/")
        assert [one["pointer"] for one in refused(got, 422, got.json()["code"])] == [pointer]
    assert ours.read(path)["withdrawn_at"] is None


def test_it_is_withdrawn_by_its_maker_with_a_reason_and_stays_to_be_read(
    scene: Any, program: Any, body: Any
) -> None:
    ours = program(scene.authority)
    path = path_of(note(ours, body))
    refused(withdraw(program(scene.owner), path), 403, "forbidden")
    refused(withdraw(program(scene.contractor), path), 404, "not_found")
    refused(ours.ask("patch", path, {"withdrawn_because": "x"}), 428, "precondition_required")
    [fault] = refused(withdraw(ours, path, because=" "), 422, "not_valid")
    assert fault["pointer"] == "/withdrawn_because"
    before = ours.ask("get", path)["ETag"]
    got = withdraw(ours, path)
    assert (got.status_code, got.json()["withdrawn_because"]) == (200, "another site")
    stale = ours.ask("patch", path, {"withdrawn_because": "x"}, If_Match=before)
    refused(stale, 412, "precondition_failed")
    refused(withdraw(ours, path), 409, "conflict")
    assert program(scene.owner).read(path) == got.json()


def test_a_file_is_withdrawn_and_its_bytes_are_found_no_more(
    scene: Any, program: Any, body: Any
) -> None:
    ours = program(scene.authority)
    [held] = send(ours, body, ("valve.png", picture())).json()["files"]
    path = f"/authority-visit-files/{held['key']}/"
    refused(withdraw(program(scene.owner), path), 403, "forbidden")
    got = withdraw(ours, path, because="a face")
    assert (got.status_code, got.json()["withdrawn_because"]) == (200, "a face")
    assert program(scene.owner).read(path) == got.json()
    for actor in (scene.owner, scene.authority):
        refused(program(actor).ask("get", f"{path}bytes/"), 404, "not_found")


def test_a_file_that_the_store_has_lost_is_gone_in_words(
    scene: Any, program: Any, body: Any
) -> None:
    [held] = send(program(scene.authority), body, ("list.pdf", PDF)).json()["files"]
    default_storage.delete(AuthorityFile.objects.get().file.name)
    got = program(scene.owner).ask("get", f"/authority-visit-files/{held['key']}/bytes/")
    refused(got, 410, "gone")
    assert "“list.pdf” is no longer in the store" in got.json()["detail"]


def test_orders_that_name_the_visit_stand_with_it(scene: Any, program: Any, body: Any) -> None:
    path = path_of(note(program(scene.authority), body))
    row = visiting.visit(scene.authority, AuthorityVisit.objects.get().key)
    made = asking.order(
        actor=scene.authority, site=scene.site, words="Seal both valves", due_on=TODAY, at=AT,
        authority_visit=row,
    )  # fmt: skip
    asking.see_order(actor=scene.owner, order=made, at=AT)
    asking.meet_order(actor=scene.authority, order=made, words="a photo", at=AT)
    told = program(scene.owner).read(path)
    [order] = told["orders"]
    assert (order["key"], order["words"]) == (str(made.key), "Seal both valves")
    assert order["seen_at"] is not None
    assert order["met_words"] == "a photo"
    assert told["ordered"] == 1


def test_list_is_narrowed_and_goes_page_by_page(scene: Any, program: Any, body: Any) -> None:
    ours = program(scene.authority)
    days = ("2026-06-10", "2026-06-11", "2026-06-12")
    first, second, third = (
        path_of(note(ours, body | {"visited_on": on, "present": f"P{on[-1]}"})) for on in days
    )
    withdraw(ours, second)
    for query, wanted in (
        ("", [third, second, first]),
        ("?stands=standing", [third, first]),
        ("?stands=withdrawn", [second]),
        ("?since=2026-06-11&until=2026-06-11", [second]),
        ("?find=P2", [third]),
        (f"?site={scene.site.key}", [third, second, first]),
        (f"?site={uuid4()}", []),
    ):
        rows = ours.read(f"{ALL}{query}")["results"]
        assert [f"{ALL}{row['key']}/" for row in rows] == wanted, query
    page = ours.read(f"{ALL}?limit=2")
    rest = ours.read(page["next"].partition("/api/v1")[2])
    rows = page["results"] + rest["results"]
    assert [f"{ALL}{row['key']}/" for row in rows] == [third, second, first]
