"""How long records are kept, by programs: what the pages tell, and no decision to let go."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone

from itm.accounts.models import Membership
from itm.core.history import Change
from itm.retention import letting
from itm.retention.models import Decision, KeepingPeriod
from tests.conftest import new_scene
from tests.factories import MembershipFactory, SiteFactory
from tests.itm.api.conftest import refused
from tests.keeping import adopted, decided, on_disk, paper

pytestmark = pytest.mark.django_db
RULE, LAWS = "eu-pfas-plan", "the text of the law"


def post(program: Any, path: str, body: Any, key: Any = None) -> Any:
    return program.ask("post", path, body, Idempotency_Key=str(key or uuid4()))


def patch(program: Any, path: str, body: Any) -> Any:
    return program.ask("patch", path, body, If_Match=program.ask("get", path)["ETag"])


@pytest.fixture
def adoption(scene: Any) -> dict[str, Any]:
    return {"rule": RULE, "sites": [str(scene.site.key)], "checked_against": LAWS}


@pytest.fixture
def own(scene: Any) -> dict[str, Any]:
    return {"site": str(scene.site.key), "kind": "plan", "years": 40, "why": "our insurer asks"}


def test_rules_tell_their_source_and_where_they_hold(
    scene: Any, program: Any, adoption: Any
) -> None:
    ours = program(scene.owner)
    rules = {one["code"]: one for one in ours.read("/keeping/rules/")["results"]}
    assert all(one["source"] and one["confidence"] and one["how_long"] for one in rules.values())
    assert rules[RULE]["kinds"] == ["plan"]
    assert rules[RULE]["held_at"] == []
    [made] = post(ours, "/keeping/adoptions/", adoption).json()["made"]
    after = {one["code"]: one["held_at"] for one in ours.read("/keeping/rules/")["results"]}
    [held] = after.pop(RULE)
    assert (held["period"], held["site"]["key"]) == (made["key"], str(scene.site.key))
    assert held["checked_against"] == LAWS
    assert not any(after.values())


def test_adopting_makes_a_period_once_and_only_where_there_is_none(
    scene: Any, program: Any, adoption: Any
) -> None:
    ours, key = program(scene.owner), uuid4()
    other = SiteFactory(owner=scene.owner.organisation)
    first = post(ours, "/keeping/adoptions/", adoption, key)
    assert first.status_code == 201, first.content
    again = post(ours, "/keeping/adoptions/", adoption, key)
    assert (again.content, again["Idempotency-Repeated"]) == (first.content, "true")
    twice = {"sites": [*adoption["sites"], str(other.key), str(other.key)]}
    [made] = post(ours, "/keeping/adoptions/", adoption | twice).json()["made"]
    assert made["site"]["key"] == str(other.key)
    assert ours.read(f"/keeping/periods/{made['key']}/") == made
    listed = ours.read("/keeping/periods/")["results"]
    assert [one["rule"] for one in listed] == [RULE, RULE]
    assert ours.read(f"/keeping/periods/?site={other.key}")["results"] == [made]
    last = Change.objects.filter(model="retention.KeepingPeriod").latest("pk")
    assert (last.via, last.person) == ("api", scene.owner.person)


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"rule": "none"}, "/rule", "not_found"),
        ({"sites": [str(uuid4())]}, "/sites/0", "not_found"),
        ({"sites": []}, "/sites", "empty"),
        ({"sites": ["x"]}, "/sites/0", "invalid"),
        ({"checked_against": ""}, "/checked_against", "not_confirmed"),
        ({"site": "x"}, "/site", "unknown_key"),
    ],
)
def test_refused_adoption_points_at_its_place(
    scene: Any, program: Any, adoption: Any, change: Any, pointer: str, code: str
) -> None:
    got = post(program(scene.owner), "/keeping/adoptions/", adoption | change)
    [fault] = refused(got, 422, got.json()["code"])
    assert (fault["pointer"], fault["code"]) == (pointer, code)
    assert not KeepingPeriod.objects.exists()


def test_a_period_of_ones_own_is_never_shorter_than_what_holds(
    scene: Any, program: Any, adoption: Any, own: Any
) -> None:
    ours, key = program(scene.owner), uuid4()
    post(ours, "/keeping/adoptions/", adoption)
    for years, code in ((1, "shorter_than_rule"), (0, "not_valid"), (101, "not_valid")):
        [fault] = refused(post(ours, "/keeping/periods/", own | {"years": years}), 422, code)
        assert fault["pointer"] == "/years"
    got = post(ours, "/keeping/periods/", own, key)
    again = post(ours, "/keeping/periods/", own, key)
    assert (again.content, again["Idempotency-Repeated"]) == (got.content, "true")
    path = got["Location"].removeprefix("/api/v1")
    assert ours.read(path) == got.json()
    assert (got.json()["rule"], got.json()["kinds"]) == (None, ["plan"])
    refused(post(ours, "/keeping/periods/", own | {"years": 39}), 422, "shorter_than_before")
    [fault] = refused(
        post(ours, "/keeping/periods/", own | {"site": str(uuid4())}), 422, "not_found"
    )
    assert fault["pointer"] == "/site"
    longer = post(ours, "/keeping/periods/", own | {"years": 50}).json()
    assert ours.read(path)["ended_why"].startswith("replaced by 50 years")
    holding = ours.read("/keeping/periods/")["results"]
    assert [one["key"] for one in holding if one["rule"] is None] == [longer["key"]]
    ended = ours.read("/keeping/periods/?standing=ended")["results"]
    assert [one["key"] for one in ended] == [got.json()["key"]]


def test_a_period_ends_with_a_reason_under_the_tag_that_was_read(
    scene: Any, program: Any, own: Any
) -> None:
    ours = program(scene.owner)
    path = post(ours, "/keeping/periods/", own)["Location"].removeprefix("/api/v1")
    body = {"ended_why": "the site is sold"}
    refused(ours.ask("patch", path, body), 428, "precondition_required")
    refused(ours.ask("patch", path, body, If_Match='"x"'), 412, "precondition_failed")
    [fault] = refused(patch(ours, path, {"ended_why": " "}), 422, "not_valid")
    assert fault["pointer"] == "/ended_why"
    got = patch(ours, path, body)
    assert (got.status_code, got.json()["ended_why"]) == (200, "the site is sold")
    assert got.json() == ours.read(path)
    for actor in (scene.contractor, scene.authority, new_scene().owner):
        refused(program(actor).ask("get", path), 404, "not_found")


def test_what_is_past_its_period_is_told_by_site_kind_and_file(scene: Any, program: Any) -> None:
    ours, there = program(scene.owner), f"/sites/{scene.site.key}/keeping/"
    rows = [paper(scene, name=name, kind="plan") for name in ("a.pdf", "b.pdf")]
    paper(scene, name="c.pdf")
    [before] = ours.read("/keeping/sites/")["results"]
    assert (before["periods"], before["past"]) == (0, 0)
    adopted(scene, RULE)
    [site] = ours.read("/keeping/sites/")["results"]
    size = sum(row.size for row in rows)
    assert {name: site[name] for name in ("periods", "past", "past_size", "unsaid", "waiting")} == {
        "periods": 1, "past": 2, "past_size": size, "unsaid": 1, "waiting": 0,
    }  # fmt: skip
    one = ours.read(there)
    assert (one["unsaid"], one["days_to_undo"]) == (1, letting.WAITS.days)
    [plan] = [kind for kind in one["kinds"] if kind["kind"] == "plan"]
    assert (plan["files"], plan["past"], plan["past_size"]) == (2, 2, size)
    files = ours.read(f"{there}files/?kind=plan")
    assert files == ours.read(f"{there}files/")
    assert files["count"] == 2
    assert {row["key"] for row in files["files"]} == {str(row.key) for row in rows}
    assert {row["sha256"] for row in files["files"]} == {row.sha256 for row in rows}
    assert ours.read(f"{there}files/?kind=waste")["count"] == 0
    refused(ours.ask("get", f"{there}files/?kind=odd"), 400, "bad_query")
    decided(scene, "plan", rows[0], at=timezone.now())
    [site] = ours.read("/keeping/sites/")["results"]
    assert (site["past"], site["waiting"]) == (1, 1)


def test_sites_of_the_owner_come_page_by_page_by_name(scene: Any, program: Any) -> None:
    SiteFactory(owner=scene.owner.organisation, name="Aa")
    ours = program(scene.owner)
    page = ours.read("/keeping/sites/?limit=1")
    assert [row["site"]["name"] for row in page["results"]] == ["Aa"]
    rest = ours.read(page["next"].partition("/api/v1")[2])
    assert ([row["site"]["name"] for row in rest["results"]], rest["next"]) == (
        [scene.site.name], None,
    )  # fmt: skip


@pytest.fixture
def decision(scene: Any) -> Decision:
    adopted(scene, RULE)
    return decided(scene, "plan", paper(scene, kind="plan"), at=timezone.now())


def test_a_decision_tells_who_why_until_when_and_where_it_stands(
    scene: Any, program: Any, decision: Decision
) -> None:
    ours, path = program(scene.owner), f"/keeping/decisions/{decision.key}/"
    told = ours.read(path)
    assert (told["verb"], told["stands"], told["may_be_taken_back"]) == ("let_go", "waits", True)
    assert (told["decided_by"], told["reason"]) == (scene.owner.person, decision.reason)
    assert [(one["name"], one["became"]) for one in told["files"]] == [("plan.pdf", "waits")]
    other = paper(scene, name="other.pdf", kind="plan")
    until = timezone.now().date() + timedelta(days=400)
    kept = decided(scene, "plan", other, verb="keep", until=until, at=timezone.now())
    listed = ours.read("/keeping/decisions/")["results"]
    assert [(one["key"], one["stands"]) for one in listed] == [
        (str(kept.key), "kept_on"), (str(decision.key), "waits"),
    ]  # fmt: skip
    for query, count in (
        ("?stands=waits", 1), ("?stands=done", 0), ("?kind=plan", 2), ("?kind=waste", 0),
        (f"?site={scene.site.key}", 2), (f"?site={uuid4()}", 0),
    ):  # fmt: skip
        assert len(ours.read(f"/keeping/decisions/{query}")["results"]) == count, query
    letting.carry_out(timezone.now() + letting.WAITS)
    told = ours.read(path)
    assert (told["stands"], told["may_be_taken_back"]) == ("done", False)
    assert [one["became"] for one in told["files"]] == ["gone"]
    refused(patch(ours, path, {"taken_back": True}), 409, "conflict")


def test_a_program_takes_a_decision_back_and_every_file_stays(
    scene: Any, program: Any, decision: Decision
) -> None:
    ours, path = program(scene.owner), f"/keeping/decisions/{decision.key}/"
    refused(ours.ask("patch", path, {"taken_back": True}), 428, "precondition_required")
    assert patch(ours, path, {"taken_back": False}).json()["stands"] == "waits"
    got = patch(ours, path, {"taken_back": True})
    assert (got.status_code, got.json()["stands"]) == (200, "taken_back")
    assert [one["became"] for one in got.json()["files"]] == ["stays"]
    assert patch(ours, path, {"taken_back": True}).json() == got.json()
    [fault] = refused(patch(ours, path, {"taken_back": False}), 422, "taken_back")
    assert fault["pointer"] == "/taken_back"
    letting.carry_out(timezone.now() + letting.WAITS)
    assert on_disk(decision.files.get().attachment)


def test_no_program_decides(scene: Any, program: Any, decision: Decision) -> None:
    """What is let go cannot be brought back, so it wants a person's proof; no address takes it."""
    ours = program(scene.owner)
    row = paper(scene, name="other.pdf", kind="plan")
    body = {"kind": "plan", "verb": "let_go", "keys": [str(row.key)], "reason": "x"}
    for path in (
        "/keeping/decisions/", f"/sites/{scene.site.key}/keeping/",
        f"/sites/{scene.site.key}/keeping/files/",
    ):  # fmt: skip
        refused(post(ours, path, body), 405, "method_not_allowed")
    assert Decision.objects.get() == decision


def test_who_keeps_no_records_reads_none_of_it(
    scene: Any, program: Any, decision: Decision, adoption: Any
) -> None:
    """A contractor and an authority; and of the owner's people one who made a token as a manager
    and is none any more."""
    lists = (
        "/keeping/rules/", "/keeping/sites/", "/keeping/periods/", "/keeping/decisions/",
        f"/sites/{scene.site.key}/keeping/", f"/sites/{scene.site.key}/keeping/files/",
    )  # fmt: skip
    for actor in (scene.contractor, scene.authority):
        ours = program(actor)
        for path in lists:
            refused(ours.ask("get", path), 403, "forbidden")
        refused(post(ours, "/keeping/adoptions/", adoption), 403, "forbidden")
        refused(ours.ask("get", f"/keeping/decisions/{decision.key}/"), 404, "not_found")
    ours = program(scene.owner)
    MembershipFactory(organisation=scene.owner.organisation, role="manager")
    held = Membership.objects.get(user=scene.owner.user)
    held.role = "member"
    held.save(by=scene.owner)
    for path in (*lists, f"/keeping/decisions/{decision.key}/"):
        refused(ours.ask("get", path), 403, "forbidden")
