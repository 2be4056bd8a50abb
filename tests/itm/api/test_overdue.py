"""When overdue is a deficiency, by programs: the rules of the page, once for each key."""

from typing import Any
from uuid import uuid4

import pytest

from itm.core.history import Change
from itm.findings.models import Deficiency, OverdueRule
from tests.conftest import new_scene
from tests.deeds import look_duty
from tests.factories import SiteFactory
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def body(scene: Any) -> dict[str, Any]:
    """Of a look at the tank that is overdue since 2019."""
    row = look_duty(scene).requirement
    return {
        "site": str(scene.site.key), "programme": row.programme.code, "row": row.code,
        "severity": "critical", "because": "our fire plan, chapter 3",
    }  # fmt: skip


def say(program: Any, body: Any, key: Any = None) -> Any:
    return program.ask("post", "/overdue-rules/", body, Idempotency_Key=str(key or uuid4()))


def end(program: Any, path: str, holds: Any = False, **headers: str) -> Any:
    headers = headers or {"If_Match": program.ask("get", path)["ETag"]}
    return program.ask("patch", path, {"holds": holds}, **headers)


def test_said_by_the_owner_it_opens_what_is_overdue_and_everybody_there_reads_it(
    scene: Any, program: Any, body: Any
) -> None:
    got = say(program(scene.owner), body)
    assert got.status_code == 201, got.content
    told = got.json()
    row = Deficiency.objects.get(cause="overdue")
    assert (row.severity, row.opened_by) == (2, "the system")
    assert row.ground.endswith("our fire plan, chapter 3")
    for actor in (scene.owner, scene.authority, scene.contractor):
        ours = program(actor)
        assert ours.read(got["Location"].removeprefix("/api/v1")) == told
        assert ours.read("/overdue-rules/")["results"] == [told]
    assert told["about"]["row"] == body["row"]
    assert (told["holds"], told["severity"]) == (True, "critical")
    assert told["adopter"]["key"] == str(scene.owner.organisation.key)
    last = Change.objects.filter(model="findings.OverdueRule").latest("pk")
    assert (last.via, last.person) == ("api", scene.owner.person)


def test_rows_of_a_site_tell_what_is_asked_and_which_rules_hold(
    scene: Any, program: Any, body: Any
) -> None:
    path = f"/sites/{scene.site.key}/overdue/"
    before = program(scene.authority).read(path)
    rows = {one["row"]: one for one in before["rows"]}
    assert {"annual-proportioning-test", "annual-concentrate-check"} <= set(rows)
    assert all(one["rules"] == [] and one["by_programme"] is None for one in rows.values())
    assert (before["may_say"], program(scene.contractor).read(path)["may_say"]) == (True, False)
    everywhere = {"programme": "yearly-test-and-check", "row": "annual-proportioning-test"}
    said = say(program(scene.authority), body | everywhere).json()
    after = {one["row"]: one["rules"] for one in program(scene.owner).read(path)["rows"]}
    assert after["annual-proportioning-test"] == [said]
    assert after["annual-concentrate-check"] == []


def test_ten_repeats_say_it_once_and_said_again_it_takes_its_place(
    scene: Any, program: Any, body: Any
) -> None:
    ours, key = program(scene.owner), uuid4()
    answers = [say(ours, body, key) for _ in range(10)]
    assert {(got.status_code, got.content) for got in answers} == {(201, answers[0].content)}
    assert OverdueRule.objects.count() == 1
    refused(say(ours, body | {"because": "other"}, key), 422, "other_body")
    second = say(ours, body | {"severity": "noncritical"}).json()
    assert ours.read("/overdue-rules/")["results"] == [second]
    everything = ours.read("/overdue-rules/?standing=all")["results"]
    assert [(one["severity"], one["holds"]) for one in everything] == [
        ("critical", False), ("noncritical", True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"site": str(uuid4())}, "/site", "not_found"),
        ({"row": "no-such-row"}, "/row", "not_asked"),
        ({"programme": "no-such-programme"}, "/row", "not_asked"),
        ({"severity": "bad"}, "/severity", "invalid_choice"),
        ({"because": ""}, "/because", "blank"),
        ({"because": "x" * 201}, "/because", "max_length"),
        ({"adopter": "x"}, "/adopter", "unknown_key"),
    ],
)
def test_refusal_points_at_its_place_and_nothing_is_said(
    scene: Any, program: Any, body: Any, change: Any, pointer: str, code: str
) -> None:
    got = say(program(scene.owner), body | change)
    [fault] = refused(got, 422, got.json()["code"])
    assert (fault["pointer"], fault["code"]) == (pointer, code)
    assert not OverdueRule.objects.exists()


def test_a_contractor_reads_and_says_nothing(scene: Any, program: Any, body: Any) -> None:
    refused(say(program(scene.contractor), body), 403, "forbidden")
    said = say(program(scene.owner), body)
    path = said["Location"].removeprefix("/api/v1")
    refused(end(program(scene.contractor), path), 403, "forbidden")
    assert OverdueRule.objects.get().ended_on is None


def test_whoever_said_so_ends_it_and_what_it_opened_stays(
    scene: Any, program: Any, body: Any
) -> None:
    ours = program(scene.owner)
    path = say(ours, body)["Location"].removeprefix("/api/v1")
    refused(end(program(scene.authority), path), 403, "forbidden")
    refused(ours.ask("patch", path, {"holds": False}), 428, "precondition_required")
    refused(end(ours, path, If_Match='"other"'), 412, "precondition_failed")
    got = end(ours, path)
    assert (got.status_code, got.json()["holds"]) == (200, False)
    assert got.json() == ours.read(path)
    assert got["ETag"] == ours.ask("get", path)["ETag"]
    assert end(ours, path).json() == got.json()
    [fault] = refused(end(ours, path, holds=True), 422, "ended")
    assert fault["pointer"] == "/holds"
    assert Deficiency.objects.get(cause="overdue").closed_at is None
    assert ours.read("/overdue-rules/")["results"] == []


def test_list_is_narrowed_by_site_organisation_and_standing_and_stops_at_ones_own(
    scene: Any, program: Any, body: Any
) -> None:
    site = SiteFactory(owner=scene.owner.organisation)
    base = {"programme": "yearly-test-and-check", "row": "annual-concentrate-check"}
    ours = program(scene.owner)
    here = say(ours, body | base).json()
    there = say(ours, body | base | {"site": str(site.key)}).json()
    theirs = say(program(scene.authority), body | base).json()
    for query, wanted in (
        ("", [here, there, theirs]),
        (f"?site={site.key}", [there]),
        (f"?adopter={scene.authority.organisation.key}", [theirs]),
        (f"?adopter={scene.owner.organisation.key}&site={scene.site.key}", [here]),
        ("?standing=ended", []),
    ):
        assert ours.read(f"/overdue-rules/{query}")["results"] == wanted, query
    page = ours.read("/overdue-rules/?limit=2")
    rest = ours.read(page["next"].partition("/api/v1")[2])
    assert page["results"] + rest["results"] == [here, there, theirs]
    assert program(new_scene().owner).read("/overdue-rules/?standing=all")["results"] == []
