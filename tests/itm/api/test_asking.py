"""An authority's program asks about a record and orders with a day: the rules of the page, once for
each key."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone

from itm.findings import visiting
from itm.findings.models import Deficiency, Order, Question
from tests.checks import checked
from tests.conftest import new_scene
from tests.deeds import tested
from tests.factories import SiteAuthorityFactory
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db


def post(program: Any, path: str, body: Any, key: Any = None) -> Any:
    return program.ask("post", path, body, Idempotency_Key=str(key or uuid4()))


def patch(program: Any, path: str, body: Any) -> Any:
    tag = program.ask("get", path).headers.get("ETag", '"none"')
    return program.ask("patch", path, body, If_Match=tag)


def soon() -> str:
    return (timezone.now() + timedelta(days=30)).date().isoformat()


@pytest.mark.parametrize("kind", ["test", "concentrate_check"])
def test_a_question_is_asked_answered_and_closed(scene: Any, program: Any, kind: str) -> None:
    record = tested(scene) if kind == "test" else checked(scene)
    theirs, ours = program(scene.authority), program(scene.contractor)
    body, key = {kind: str(record.key), "words": "Which water?"}, uuid4()
    got = post(theirs, "/questions/", body, key)
    assert got.status_code == 201
    again = post(theirs, "/questions/", body, key)
    assert (again.json(), Question.objects.count()) == (got.json(), 1)
    place = got["Location"].removeprefix("/api/v1")
    assert got.json()[kind] == str(record.key)
    assert ours.read("/questions/")["results"][0]["words"] == "Which water?"
    tag = theirs.ask("get", place)["ETag"]
    told = post(ours, f"{place}answers/", {"words": "The fire main"}).json()
    assert [one["words"] for one in told["answers"]] == ["The fire main"]
    # What was answered meanwhile was not read yet.
    late = theirs.ask("patch", place, {"closed": True}, If_Match=tag)
    refused(late, 412, "precondition_failed")
    refused(patch(ours, place, {"closed": True}), 403, "forbidden")
    assert patch(theirs, place, {"closed": True}).json()["closed_at"]
    refused(post(ours, f"{place}answers/", {"words": "Late"}), 409, "conflict")
    assert theirs.read("/questions/")["results"] == []
    assert len(theirs.read("/questions/?standing=closed")["results"]) == 1


def test_who_may_not_ask_is_told_so_and_what_is_no_record_is_a_fault_of_the_body(
    scene: Any, program: Any
) -> None:
    sealed, draft = tested(scene), tested(scene, until="handed_in")
    theirs = program(scene.authority)
    body = {"test": str(sealed.key), "words": "Which water?"}
    for other in (scene.owner, scene.contractor):
        refused(post(program(other), "/questions/", body), 403, "forbidden")
    for wrong in ({"words": "Which?"}, {**body, "concentrate_check": str(sealed.key)}):
        refused(post(theirs, "/questions/", wrong), 422, "not_valid")
    [fault] = refused(post(theirs, "/questions/", {**body, "test": str(uuid4())}), 422, "not_found")
    assert fault["pointer"] == "/test"
    [fault] = refused(
        post(theirs, "/questions/", {**body, "test": str(draft.key)}), 422, "not_found"
    )
    assert fault["pointer"] == "/test"  # nobody of an authority sees what is not sealed
    refused(post(theirs, "/questions/", {**body, "words": " "}), 422, "not_valid")
    foreign = program(new_scene().authority)
    refused(post(foreign, "/questions/", body), 422, "not_found")
    assert not Question.objects.exists()


def test_an_order_is_made_seen_and_met(scene: Any, program: Any) -> None:
    theirs, owner = program(scene.authority), program(scene.owner)
    body = {"site": str(scene.site.key), "words": "Seal two valves", "due_on": soon()}
    got = post(theirs, "/orders/", body)
    assert got.status_code == 201
    place = got["Location"].removeprefix("/api/v1")
    assert owner.read("/orders/")["results"][0]["words"] == "Seal two valves"
    refused(patch(owner, place, {"met_words": "They are"}), 403, "forbidden")
    refused(patch(theirs, place, {"seen": True}), 403, "forbidden")
    refused(patch(owner, place, {}), 422, "not_valid")
    assert patch(owner, place, {"seen": True}).json()["seen_by"] == scene.owner.person
    refused(patch(program(scene.contractor), place, {"seen": True}), 403, "forbidden")
    told = patch(theirs, place, {"met_words": "Seen on a visit"}).json()
    assert (told["met_words"], told["met_by"]) == ("Seen on a visit", scene.authority.person)
    refused(patch(theirs, place, {"met_words": "Again"}), 409, "conflict")
    assert owner.read("/orders/?standing=met")["results"][0]["key"] == told["key"]


def test_an_order_stands_on_what_belongs_to_its_site(scene: Any, program: Any) -> None:
    tested(scene, {"minimum": 2.0, "design": 3.4})
    row = Deficiency.objects.first()
    assert row is not None
    theirs = program(scene.authority)
    body = {"site": str(scene.site.key), "words": "Put it right", "due_on": soon()}
    got = post(theirs, "/orders/", {**body, "finding": str(row.key)})
    assert got.json()["finding"] == str(row.key)
    seen = visiting.note_visit(
        actor=scene.authority, site=scene.site, at=timezone.now(), present="A. Inspector",
        looked_at="The pump room", visited_on=timezone.now().date(),
    )  # fmt: skip
    came = post(theirs, "/orders/", {**body, "authority_visit": str(seen.key)})
    place = came["Location"].removeprefix("/api/v1")
    assert program(scene.owner).read(place)["authority_visit"] == str(seen.key)
    assert program(scene.contractor).read(place)["authority_visit"] is None
    other = new_scene()
    SiteAuthorityFactory(site=other.site, organisation=scene.authority.organisation)
    refused(
        post(theirs, "/orders/", {**body, "site": str(other.site.key), "finding": str(row.key)}),
        422, "other_site",
    )  # fmt: skip
    for name in ("finding", "authority_visit", "site"):
        [fault] = refused(post(theirs, "/orders/", {**body, name: str(uuid4())}), 422, "not_found")
        assert fault["pointer"] == f"/{name}"
    refused(post(theirs, "/orders/", {**body, "due_on": "2020-01-01"}), 422, "day_past")
    refused(post(program(scene.owner), "/orders/", body), 403, "forbidden")
    assert Order.objects.count() == 2
