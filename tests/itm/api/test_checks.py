"""Concentrate checks by programs: read as on the pages, handed in once, faults pointed at."""

import base64
from copy import deepcopy
from typing import Any
from uuid import UUID, uuid4

import pytest

from itm.records.models import ConcentrateCheck, LaboratoryReport
from tests.checks import PDF, begun, bottle, checked, lot_of, sent, with_report
from tests.doors.documents import check_document
from tests.factories import TankFactory
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db
FILE = {"name": "r.pdf", "base64": base64.b64encode(PDF).decode()}


def hand_in(program: Any, body: Any, path: str = "/checks/", key: UUID | None = None) -> Any:
    return program.ask("post", path, body, Idempotency_Key=str(key or uuid4()))


@pytest.fixture
def document(scene: Any) -> dict[str, Any]:
    lot_of(scene)
    return check_document(scene)


def test_a_check_is_read_as_it_stands_and_as_it_was_sealed(scene: Any, program: Any) -> None:
    check = with_report(scene)
    ours = program(scene.authority, "read")
    found = ours.read(f"/checks/{check.key}/")
    assert found["seal"]["digest"] == check.seal.digest
    assert found["document"]["samples"][0]["values"][0]["typed"] == "1.37020"
    assert found["report_pdf"].endswith(f"/checks/{check.key}/report/")
    sealed = ours.ask("get", f"/checks/{check.key}/sealed/")
    assert sealed.content == bytes(check.seal.document)
    assert ours.ask("get", f"/checks/{check.key}/report/").status_code in (200, 202)


def test_the_list_is_narrowed_and_shows_each_its_own(scene: Any, program: Any) -> None:
    draft, whole = checked(scene, until="draft"), checked(scene)
    keys = {
        who: {row["key"] for row in program(getattr(scene, who)).read("/checks/")["results"]}
        for who in ("owner", "contractor", "authority")
    }
    assert keys["contractor"] == {str(draft.key), str(whole.key)}
    assert keys["owner"] == keys["authority"] == {str(whole.key)}
    ours = program(scene.contractor)
    for asked in (f"tank={scene.tank.key}&state=sealed", "limits=within limits", "find=T-"):
        found = ours.read(f"/checks/?{asked}")["results"]
        assert str(whole.key) in {row["key"] for row in found}, asked
    assert ours.read(f"/checks/?tank={uuid4()}")["results"] == []
    refused(ours.ask("get", "/checks/?colour=red"), 400, "bad_query")


def test_ten_repeats_make_one_check(scene: Any, program: Any, document: Any) -> None:
    ours, key = program(scene.contractor), uuid4()
    answers = [hand_in(ours, document, key=key) for _ in range(10)]
    assert {(one.status_code, one.content) for one in answers} == {(201, answers[0].content)}
    assert ConcentrateCheck.objects.get().state == "handed_in"
    made = answers[0].json()
    assert set(made["samples"]) == {"T-1 260615 top", "T-1 260615 bottom"}
    assert answers[0]["Location"].endswith(made["check"] + "/")
    refused(hand_in(ours, {**document, "notes": "other"}, key=key), 422, "other_body")


def without(document: Any, *path: Any, value: Any = None) -> Any:
    """With another value at that place, or without it."""
    changed = deepcopy(document)
    holder = changed
    for name in path[:-1]:
        holder = holder[name]
    if value is None:
        del holder[path[-1]]
    else:
        holder[path[-1]] = value
    return changed


@pytest.mark.parametrize(
    ("path", "value", "pointer", "code"),
    [
        (("tank",), "x", "/tank", "bad_entry"),
        (("tank",), str(uuid4()), "/tank", "not_found"),
        (("purpose",), None, "/purpose", "required"),
        (("checked_on",), "2100-01-01", "/checked_on", "day_ahead"),
        (("programmes",), ["x"], "/programmes", "invalid_choice"),
        (("odd",), "x", "/odd", "unknown_field"),
        (("form",), 7, "/form", "unknown_form"),
        (("samples",), "x", "/samples", "not_a_list"),
        (("samples",), [], "/samples", "no_sample"),
        (("samples", 0, "point"), "middle of nowhere", "/samples/0/point", "invalid_choice"),
        (("samples", 0, "taken_at"), None, "/samples/0/taken_at", "missing"),
        (("samples", 0, "taken_at"), "2026-06-14T10:00:00Z", "/samples/0/taken_at", "other_day"),
        (("samples", 1, "label"), "T-1 260615 top", "/samples/1/label", "label_taken"),
        (("samples", 0, "values", 0, "value"), "137020", "/samples/0/values/0/value",
         "out_of_range"),
        (("samples", 0, "values", 1, "value"), "1.0320 kg/m³", "/samples/0/values/1/value",
         "other_unit"),
        (("samples", 0, "values", 0, "value"), 1.3702, "/samples/0/values/0/value", "not_text"),
        (("samples", 0, "values", 0, "temperature"), "", "/samples/0", "temperature_missing"),
        (("samples", 0, "values", 2, "set_aside", "reason"), "",
         "/samples/0/values/2/set_aside/reason", "required"),
        (("samples", 0, "sent_on"), "2026-06-15", "/samples/0/laboratory", "laboratory_missing"),
    ],
)  # fmt: skip
def test_a_refusal_points_at_its_place_and_nothing_is_stored(
    scene: Any, program: Any, document: Any, path: Any, value: Any, pointer: str, code: str
) -> None:
    got = hand_in(program(scene.contractor), without(document, *path, value=value))
    faults = refused(got, 422, "check_refused")
    assert (pointer, code) in [(one["pointer"], one["code"]) for one in faults]
    assert not ConcentrateCheck.objects.exists()


def test_a_day_refuses_the_tank_of_another_site(scene: Any, program: Any, document: Any) -> None:
    other = TankFactory(site__owner=scene.owner.organisation)
    day = {
        "visit": {"site": str(scene.site.key), "planned_on": "2026-06-15"},
        "checks": [{**document, "tank": str(other.key)}],
    }
    faults = refused(hand_in(program(scene.contractor), day, "/tests/"), 422, "day_refused")
    assert [(one["pointer"], one["code"]) for one in faults] == [("/checks/0/tank", "no_tank")]


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"number": ""}, "/number", "required"),
        ({"reported_on": "2026-06-14"}, "/reported_on", "before_samples"),
        ({"file": {"name": "r.pdf", "base64": "§"}}, "/file/base64", "not_base64"),
        ({"file": {"name": "r.pdf", "base64": ""}}, "/file/base64", "missing"),
        ({"file": {"name": "r.pdf", "base64": "bm8gZmlsZQ=="}}, "/file", "unknown_type"),
        ({"samples": [{"label": "other"}]}, "/samples", "no_sample"),
        ({"samples": []}, "/samples", "required"),
        ({"hand_in": True}, "/samples/0", "nothing_measured"),
    ],
)
def test_an_answer_of_a_laboratory_is_taken_whole_or_not(
    scene: Any, program: Any, change: Any, pointer: str, code: str
) -> None:
    lot_of(scene)
    check = begun(scene)
    sample = sent(bottle(check, scene.contractor), scene.contractor)
    body = {
        "laboratory": "L", "number": "R 1", "reported_on": "2026-06-15", "file": FILE,
        "samples": [{"label": sample.label}],
    }  # fmt: skip
    path = f"/checks/{check.key}/laboratory-reports/"
    faults = refused(hand_in(program(scene.contractor), body | change, path), 422, "check_refused")
    assert (pointer, code) in [(one["pointer"], one["code"]) for one in faults]
    assert not LaboratoryReport.objects.exists()


def test_an_authority_does_not_check(scene: Any, program: Any, document: Any) -> None:
    faults = refused(hand_in(program(scene.authority), document), 422, "check_refused")
    assert [(one["pointer"], one["code"]) for one in faults] == [("/tank", "forbidden")]
