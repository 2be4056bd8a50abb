"""One day by four ways: pages, entries of a device, a table in a file, and the interface.

What was handed in is the same to the byte but for the keys of rows that a door made, and the order
of rows where a table is sorted by them. The numbers that the engine got, and everything that it
made of them, are the same for all four.
"""

import json
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import pytest
import time_machine

from itm.accounts import tokens
from itm.actions.hand_in import hand_in
from itm.records.models import ProportioningTest
from tests.doors.canonical import handed_in, same
from tests.doors.documents import day_document
from tests.doors.through_entries import Device, entry
from tests.doors.through_pages import Pages, readings, standards
from tests.itm.intake.imports import taken

EVENING = datetime(2026, 6, 15, 18, tzinfo=UTC)
HEAD = (
    "bottle;value;Temp. (°C);read_at;set aside because;set aside at;"
    "concentrate poured;water poured;density;density_at;density error;source of the density"
)
AMOUNTS = ("concentrate_ml", "water_ml", "concentrate_g", "water_g")
DENSITY = ("density", "density_at", "density_error", "density_from")


def in_table(told: dict[str, Any]) -> tuple[str, ...]:
    aside = told.get("set_aside", {})
    why = (aside.get("reason", ""), aside.get("at", ""))
    return (told["value"], told["temperature"], told["read_at"], *why)


@pytest.fixture
def document(scene: Any) -> dict[str, Any]:
    return day_document(scene)


def weighing(document: dict[str, Any]) -> dict[str, Any]:
    """The same day with a thick concentrate: weighed, with the density of a data sheet."""
    bench = document["benches"][0]
    bench |= {
        "standards_by": "mass", "density": "1.048 g/mL", "density_at": "20 °C",
        "density_error": "5 kg/m³", "density_from": "data_sheet",
    }  # fmt: skip
    grams = (("4.19", "195.6"), ("6.29", "193.7"), ("8.38", "191.7"))
    for one, (concentrate, water) in zip(bench["standards"], grams, strict=True):
        del one["concentrate_ml"], one["water_ml"]
        one |= {"concentrate_g": concentrate, "water_g": water}
    return document


def by_pages(scene: Any, document: Any, client: Any) -> ProportioningTest:
    return Pages(client, document, EVENING).work()


def by_entries(scene: Any, document: Any, client: Any) -> ProportioningTest:
    device = Device(scene.contractor, document, EVENING)
    test = device.prepare()
    field = device.field(test)
    bench = device.bench(test, field)
    device.send([*field, *bench, entry("hand_in", {"test": test.key}, EVENING.isoformat())])
    return ProportioningTest.objects.get(pk=test.pk)


def by_interface(scene: Any, document: Any, client: Any) -> ProportioningTest:
    with time_machine.travel(EVENING, tick=False):
        _, token = tokens.make(
            actor=scene.contractor, name=f"a program {uuid4()}", scopes=("hand_in",),
            expires_on=EVENING.date(), at=EVENING,
        )  # fmt: skip
        answer = client.post(
            "/api/v1/tests/", document, content_type="application/json",
            headers={"Authorization": f"Bearer {token}", "Idempotency-Key": str(uuid4())},
        )  # fmt: skip
    assert answer.status_code == 201, answer.content
    return ProportioningTest.objects.get(key=answer.json()["tests"][0]["test"])


def by_file(scene: Any, document: Any, client: Any) -> ProportioningTest:
    """The bench from a table, what its standards were made of among it; the rest of the day as a
    device sends it."""
    poured = dict(standards(document))
    [bench] = document["benches"]
    elsewhere = json.loads(json.dumps(document))
    for one in elsewhere["benches"][0]["standards"]:
        for name in AMOUNTS:
            one.pop(name, None)
    for name in (*DENSITY, "standards_by"):
        elsewhere["benches"][0].pop(name, None)
    device = Device(scene.contractor, elsewhere, EVENING)
    test = device.prepare()
    device.send(device.field(test))
    lines = []
    for label, told in readings(document):
        of = poured.pop(label, {})  # in the first row of the standard
        amounts = [f"{of[name]} {name[-2:].strip('_')}" for name in AMOUNTS if name in of]
        said = [bench.get(name, "") if amounts else "" for name in DENSITY]
        lines.append(";".join((label, *in_table(told), *(amounts or ["", ""]), *said)))
    assert not poured
    with time_machine.travel(EVENING, tick=False):
        taken(scene.contractor, "readings", "\n".join([HEAD, *lines]) + "\n", test=test)
    hand_in(actor=scene.contractor, key=test.key, at=EVENING)
    return ProportioningTest.objects.get(pk=test.pk)


@pytest.fixture
def crew(client: Any, sign_in: Any, scene: Any) -> Any:
    return sign_in(client, scene.contractor)


@pytest.mark.parametrize("way", [by_pages, by_entries, by_file])
def test_the_canonical_record_is_the_same_as_by_the_interface(scene, document, crew, client, way):
    expected = handed_in(by_interface(scene, document, client))
    found = handed_in(way(scene, document, client))
    assert same(found, scene) == same(expected, scene)
    assert found["evaluation"]["inputs_digest"] == expected["evaluation"]["inputs_digest"]
    assert len(found["rows"]["readings"]) == 13
    asides = [row for row in found["rows"]["readings"] if row["set_aside_at"]]
    assert [(row["set_aside_reason"], row["value_typed"]) for row in asides] == [
        ("bubble or foam on the prism", "1.33290")
    ]


@pytest.mark.parametrize("way", [by_pages, by_entries, by_file])
def test_weighed_standards_are_the_same_record_by_every_door(scene, document, crew, client, way):
    weighed = weighing(document)
    expected = handed_in(by_interface(scene, weighed, client))
    found = handed_in(way(scene, weighed, client))
    assert same(found, scene) == same(expected, scene)
    standards = [b for b in found["bench"]["bottles"] if b["role"] == "premix standard"]
    assert [one["concentrate_g"] for one in standards] == ["4.19", "6.29", "8.38"]
    # 6.29 g of 1.048 g/mL in 193.7 g of water of 998.207 kg/m³ (Tanaka et al. 2001): arithmetic.
    parts = 6.29 / 1.048, 193.7 / 0.998207
    assert [one["percent"] for one in standards][1] == pytest.approx(
        100 * parts[0] / sum(parts), rel=1e-6
    )
    assert found["bench"]["density"] == "1.048 g/mL"


def test_all_four_give_the_engine_the_same(scene, document, crew, client):
    tests = [way(scene, document, client) for way in (by_pages, by_entries, by_file, by_interface)]
    evaluations = [test.evaluations.get() for test in tests]
    assert len({one.inputs_digest for one in evaluations}) == 1
    assert len({json.dumps(one.result, sort_keys=True) for one in evaluations}) == 1
    assert {(test.limits, test.certainty) for test in tests} == {("in band", "settled")}
    assert len({test.visit_id for test in tests}) == 4
