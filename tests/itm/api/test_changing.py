"""PATCH: what was seen is what is changed, by the form of the page; nobody overwrites others."""

from typing import Any

import pytest

from itm.core.history import Change
from tests.factories import ConcentrateLotFactory, SiteFactory
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def site(scene: Any, program: Any) -> Any:
    """Address of the scene's site, its owner's program, and the tag under which it was read."""
    ours = program(scene.owner)
    path = f"/sites/{scene.site.key}/"
    return path, ours, ours.ask("get", path)["ETag"]


def test_change_keeps_what_is_not_named_and_tells_the_new_tag(scene: Any, site: Any) -> None:
    path, ours, tag = site
    before = ours.read(path)
    got = ours.ask("patch", path, {"country": "Portugal"}, If_Match=tag)
    assert got.status_code == 200
    assert got.json() == before | {"country": "Portugal"} == ours.read(path)
    assert got["ETag"] == ours.ask("get", path)["ETag"] != tag
    last = Change.objects.last()
    assert last
    assert (last.via, last.person, last.after) == (
        "api", scene.owner.person, {"country": "Portugal"},
    )  # fmt: skip


def test_change_needs_the_tag_that_was_read(site: Any) -> None:
    path, ours, tag = site
    refused(ours.ask("patch", path, {"country": "A"}), 428, "precondition_required")
    for other in ('"other"', f"W/{tag}"):
        got = ours.ask("patch", path, {"country": "A"}, If_Match=other)
        refused(got, 412, "precondition_failed")
        assert got["ETag"] == tag
    assert ours.ask("patch", path, {"country": "A"}, If_Match=f'"x", {tag}').status_code == 200
    refused(ours.ask("patch", path, {"country": "B"}, If_Match=tag), 412, "precondition_failed")
    assert ours.ask("patch", path, {"country": "B"}, If_Match="*").json()["country"] == "B"


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"time_zone": "Lisbon"}, "/time_zone", "invalid"),
        ({"name": ""}, "/name", "blank"),
        ({"name": None}, "/name", "null"),
        ({"name": "x" * 81}, "/name", "max_length"),
        ({"owner": "x"}, "/owner", "unknown_key"),
        ({"name": "Taken"}, "", "unique"),
        ([], "", "invalid"),
    ],
)
def test_refusal_points_at_its_place_and_nothing_is_changed(
    scene: Any, site: Any, change: Any, pointer: str, code: str
) -> None:
    SiteFactory(owner=scene.owner.organisation, name="Taken")
    path, ours, tag = site
    before = ours.read(path)
    got = ours.ask("patch", path, change, If_Match=tag)
    assert [one["pointer"] for one in refused(got, 422, "not_valid")] == [pointer]
    assert ours.read(path) == before


def test_nothing_to_change_writes_nothing(site: Any) -> None:
    path, ours, tag = site
    count = Change.objects.count()
    got = ours.ask("patch", path, {}, If_Match=tag)
    assert (got.status_code, got["ETag"], Change.objects.count()) == (200, tag, count)


def test_lot_takes_numbers_as_typed(scene: Any, program: Any) -> None:
    lot = ConcentrateLotFactory(owner=scene.owner.organisation, refractive_index=None)
    ours, path = program(scene.owner), f"/lots/{lot.key}/"
    change = {"density": "1 020,5", "refractive_index": 1.3701, "expires_on": "2030-01-01"}
    got = ours.ask("patch", path, change, If_Match=ours.ask("get", path)["ETag"])
    assert got.status_code == 200, got.content
    told = got.json()
    assert (told["density"], told["refractive_index"]) == ("1020.5", "1.3701")
    got = ours.ask("patch", path, {"expires_on": None, "density": "x"}, If_Match=got["ETag"])
    [fault] = refused(got, 422, "not_valid")
    assert (fault["pointer"], fault["code"]) == ("/density", "not_a_number")
    assert "write one number" in fault["detail"]
    got = ours.ask("patch", path, {"expires_on": None}, If_Match="*")
    assert got.json()["expires_on"] is None


def test_instrument_read_between_marks_is_told_and_changed(scene: Any, program: Any) -> None:
    ours, path = program(scene.contractor), f"/instruments/{scene.instrument.key}/"
    got = ours.ask("patch", path, {"name": "another"}, If_Match="*")
    assert got.json()["division"] is None
    got = ours.ask("patch", path, {"division": "0.0001"}, If_Match="*")
    assert (got.status_code, got.json()["division"]) == (200, "0.0001")
    [fault] = refused(
        ours.ask("patch", path, {"division": "0.0003"}, If_Match="*"), 422, "not_valid"
    )
    assert "a half, a fifth or a tenth" in fault["detail"]


def test_instrument_keeps_its_flag_unless_it_is_named(scene: Any, program: Any) -> None:
    ours, path = program(scene.contractor), f"/instruments/{scene.instrument.key}/"
    for change, flag in (
        ({"temperature_compensated": True}, True),
        ({"name": "another"}, True),
        ({"temperature_compensated": False}, False),
        ({"repeatability": "0.00002"}, False),
    ):
        got = ours.ask("patch", path, change, If_Match="*")
        assert (got.status_code, got.json()["temperature_compensated"]) == (200, flag)
    assert got.json()["repeatability"] == "0.00002"
    [fault] = refused(ours.ask("patch", path, {"method": "brix"}, If_Match="*"), 422, "not_valid")
    assert "The unit does not fit" in fault["detail"]


def test_who_sees_and_does_not_own_is_told_whose_it_is(scene: Any, program: Any, site: Any) -> None:
    path, _, tag = site
    got = program(scene.contractor).ask("patch", path, {"country": "A"}, If_Match=tag)
    refused(got, 403, "forbidden")
    assert "facility owner" in got.json()["detail"]
