"""One concentrate check by its doors: pages, entries of a device, the interface, and a table of
values.

What was handed in is the same to the byte but for keys of rows that a door made, and, by the file,
the times of the values: a table tells none, so they stand at its arrival.
"""

import base64
import hashlib
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.urls import reverse

from itm.accounts import tokens
from itm.doors.entries import take
from itm.records.models import ConcentrateCheck
from itm.registry.properties import PROPERTIES
from tests.checks import PDF, lot_of
from tests.doors.canonical import handed_in, same
from tests.doors.documents import check_document
from tests.doors.through_entries import entry
from tests.itm.intake.imports import taken

EVENING = datetime(2026, 6, 15, 18, tzinfo=UTC)
LATER = datetime(2026, 7, 7, 9, tzinfo=UTC)
MEASURED = ("property", "value", "temperature", "method", "measured_on")
PAPER = {"laboratory": "Invented institute", "number": "L-1", "reported_on": "2026-07-06"}


@pytest.fixture
def document(scene: Any) -> dict[str, Any]:
    lot_of(scene)
    return check_document(scene)


@pytest.fixture
def crew(client: Any, sign_in: Any, scene: Any) -> Any:
    return sign_in(client, scene.contractor)


class Pages:
    """A person of the crew at a browser; each post happens at a told moment."""

    def __init__(self, client: Any) -> None:
        self.client = client

    def press(self, name: str, *args: Any, at: Any, **data: Any) -> None:
        moment = datetime.fromisoformat(at) if isinstance(at, str) else at
        with time_machine.travel(moment, tick=False):
            answer = self.client.post(reverse(name, args=args), data)
        assert answer.status_code == 302, answer.content.decode()[:4000]

    def begin(self, scene: Any, document: Any) -> ConcentrateCheck:
        begun = document["samples"][0]["taken_at"]
        told = {n: document[n] for n in ("checked_on", "purpose", "programmes", "notes")}
        key = uuid4()
        self.press(
            "check_new", scene.tank.key, at=begun, key=key, u_refractive_index="0.0003",
            u_density="1.0", **told,
        )  # fmt: skip
        return ConcentrateCheck.objects.get(key=key)

    def bottle(self, check: ConcentrateCheck, told: Any) -> Any:
        key, there = uuid4(), datetime.fromisoformat(told["taken_at"])
        self.press(
            "bottle_new", check.key, at=told["taken_at"], key=key, point=told["point"],
            label=told["label"], look=told["look"],
            taken_at=f"{there.astimezone(ZoneInfo('Europe/Lisbon')):%Y-%m-%dT%H:%M}",
        )  # fmt: skip
        return check.samples.get(key=key)

    def value(self, sample: Any, told: Any, origin: str = "own") -> None:
        name, (number, _, unit) = told["property"], told["value"].partition(" ")
        self.press(
            "bottle_values", sample.key, at=told["entered_at"], origin=origin,
            method=told.get("method", ""), measured_on=told.get("measured_on", ""),
            **{f"value-{name}": number, f"temperature-{name}": told["temperature"],
               f"unit-{name}": unit or PROPERTIES[name].unit},
        )  # fmt: skip
        if aside := told.get("set_aside"):
            row = sample.values.get(name=name, set_aside_at=None)
            self.press("value_aside", row.key, at=aside["at"], reason=aside["reason"])


def by_pages(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    pages = Pages(client)
    check = pages.begin(scene, document)
    for told in document["samples"]:
        sample = pages.bottle(check, told)
        for value in told["values"]:
            pages.value(sample, value)
    pages.press("check_hand_in", check.key, at=EVENING, once=uuid4())
    return ConcentrateCheck.objects.get(pk=check.pk)


def entries_of(scene: Any, document: Any) -> list[dict[str, Any]]:
    begun = document["samples"][0]["taken_at"]
    told = {n: document[n] for n in ("purpose", "circulated", "programmes", "notes")}
    out = [entry("begin_check", {"tank": scene.tank.key}, begun, told)]
    check = {"check": out[0]["key"]}
    for sample in document["samples"]:
        put = {n: sample[n] for n in ("point", "label", "look")}
        out.append(entry("add_check_sample", check, sample["taken_at"], put))
        of = {"sample": out[-1]["key"]}
        for value in sample["values"]:
            put = {n: value[n] for n in MEASURED if n in value}
            out.append(entry("add_value", of, value["entered_at"], put))
            if aside := value.get("set_aside"):
                held = {"value": out[-1]["key"]}
                reason = {"reason": aside["reason"]}
                out.append(entry("set_aside_value", held, aside["at"], reason))
    return [*out, entry("hand_in_check", check, EVENING.isoformat())]


def by_entries(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    raws = entries_of(scene, document)
    answers = take(actor=scene.contractor, entries=raws, device_now=EVENING, at=EVENING)
    assert [one for one in answers if not one.taken] == []
    return ConcentrateCheck.objects.get(key=raws[0]["key"])


def ask(scene: Any, client: Any, path: str, body: Any, at: datetime, key: Any = None) -> Any:
    with time_machine.travel(at, tick=False):
        _, token = tokens.make(
            actor=scene.contractor, name=f"a program {uuid4()}", scopes=("hand_in",),
            expires_on=at.date(), at=at,
        )  # fmt: skip
        answer = client.post(
            f"/api/v1{path}", body, content_type="application/json",
            headers={"Authorization": f"Bearer {token}", "Idempotency-Key": str(key or uuid4())},
        )  # fmt: skip
    assert answer.status_code == 201, answer.content
    return answer


def by_interface(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    answer = ask(scene, client, "/checks/", document, EVENING)
    return ConcentrateCheck.objects.get(key=answer.json()["check"])


def by_day(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    """Among the checks of a test day, whose visit holds no test."""
    day = {
        "visit": {"site": str(scene.site.key), "planned_on": "2026-06-15"}, "checks": [document],
    }  # fmt: skip
    answer = ask(scene, client, "/tests/", day, EVENING)
    return ConcentrateCheck.objects.get(key=answer.json()["checks"][0]["check"])


NOTED = ("entered_at", "set aside because", "set aside at")
HEAD = ";".join(("bottle", *MEASURED, *NOTED))


def cells_of(told: dict[str, Any]) -> tuple[str, ...]:
    aside = told.get("set_aside", {})
    noted = (told["entered_at"], aside.get("reason", ""), aside.get("at", ""))
    return (*(told.get(name, "") for name in MEASURED), *noted)


def in_rows(document: Any) -> list[str]:
    """A row for each value, what was set aside beside what stands instead."""
    return [
        HEAD,
        *(
            ";".join((sample["label"], *cells_of(told)))
            for sample in document["samples"]
            for told in sample["values"]
        ),
    ]


def in_columns(document: Any) -> list[str]:
    """A column for each property, and a row for each moment at which something was noted."""
    heads = [*dict.fromkeys(one["property"] for s in document["samples"] for one in s["values"])]
    rows = []
    for line in in_rows(document)[1:]:
        label, name, value, *beside = line.split(";")
        rows.append(";".join([label, *beside, *(value if one == name else "" for one in heads)]))
    return [";".join(["bottle", *MEASURED[2:], *NOTED, *heads]), *rows]


def by_table(scene: Any, document: Any, lines: list[str]) -> ConcentrateCheck:
    """Begun and its bottles noted as a device sends it; what was measured from a table."""
    raws = entries_of(scene, document)
    begun = [one for one in raws if one["verb"] in ("begin_check", "add_check_sample")]
    take(actor=scene.contractor, entries=begun, device_now=EVENING, at=EVENING)
    with time_machine.travel(EVENING, tick=False):
        taken(scene.contractor, "values", "\n".join(lines) + "\n")
    answers = take(actor=scene.contractor, entries=raws[-1:], device_now=EVENING, at=EVENING)
    assert [one for one in answers if not one.taken] == []
    return ConcentrateCheck.objects.get(key=raws[0]["key"])


def by_rows(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    return by_table(scene, document, in_rows(document))


def by_columns(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    return by_table(scene, document, in_columns(document))


def form_by(way: Any, *given: Any) -> dict[str, Any]:
    """What was handed in by one way, which is then taken back whole: labels are unique in an
    organisation, so the same bottles cannot stand twice."""
    with transaction.atomic():
        form = handed_in(way(*given))
        transaction.set_rollback(True)
    return form


@pytest.mark.parametrize("way", [by_pages, by_entries, by_day, by_rows, by_columns])
def test_the_canonical_record_is_the_same_as_by_the_interface(scene, document, crew, client, way):
    expected = form_by(by_interface, scene, document, client)
    found = form_by(way, scene, document, client)
    assert same(found, scene) == same(expected, scene)
    assert len(found["rows"]["values"]) == 7
    assert [one["set_aside_reason"] for one in found["rows"]["values"]].count("") == 6
    assert found["evaluation"]["result"]["strength"]
    assert found["evaluation"]["inputs_digest"] == expected["evaluation"]["inputs_digest"]
    assert found["evaluation"]["result"] == expected["evaluation"]["result"]


def waiting(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    """One bottle, sent away; nothing is measured of it yet."""
    sent = {"laboratory": PAPER["laboratory"], "sent_on": "2026-06-16", "values": []}
    draft = {**document, "samples": [{**document["samples"][0], **sent}], "hand_in": False}
    made = ask(scene, client, "/checks/", draft, LATER).json()
    assert made["state"] == "draft"
    return ConcentrateCheck.objects.get(key=made["check"])


def reported(document: Any) -> list[dict[str, Any]]:
    values = document["samples"][0]["values"]
    told = {"entered_at": LATER.isoformat(), "measured_on": "2026-07-02"}
    return [{**one, **told} for one in values if "set_aside" not in one]


def answer_by_interface(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    check, key = waiting(scene, document, client), uuid4()
    body = {
        **PAPER, "file": {"name": "r.pdf", "base64": base64.b64encode(PDF).decode()},
        "samples": [{"label": check.samples.get().label, "values": reported(document)}],
        "hand_in": True,
    }  # fmt: skip
    path = f"/checks/{check.key}/laboratory-reports/"
    answers = [ask(scene, client, path, body, LATER, key) for _ in range(3)]
    assert {answer.content for answer in answers} == {answers[0].content}
    assert answers[0].json()["state"] == "handed_in"
    return ConcentrateCheck.objects.get(pk=check.pk)


def answer_by_pages(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    check, pages = waiting(scene, document, client), Pages(client)
    sample = check.samples.get()
    file = SimpleUploadedFile("r.pdf", PDF)
    pages.press(
        "laboratory_report_new", check.key, at=LATER, **PAPER, samples=[sample.key], chosen=file
    )
    for value in reported(document):
        pages.value(sample, value, "laboratory")
    pages.press("check_hand_in", check.key, at=LATER, once=uuid4())
    return ConcentrateCheck.objects.get(pk=check.pk)


def test_a_laboratory_answers_by_page_and_by_the_interface_alike(scene, document, crew, client):
    found = form_by(answer_by_interface, scene, document, client)
    expected = form_by(answer_by_pages, scene, document, client)
    stored = ("file",)  # each copy has a name of its own on the disk
    assert same(found, scene, without=stored) == same(expected, scene, without=stored)
    assert [one["sha256"] for one in found["reports"]] == [hashlib.sha256(PDF).hexdigest()]


def answer_by_table(scene: Any, document: Any, client: Any) -> ConcentrateCheck:
    """The paper on the page, and its values from the laboratory's own table, which names it."""
    check, pages = waiting(scene, document, client), Pages(client)
    sample = check.samples.get()
    file = SimpleUploadedFile("r.pdf", PDF)
    pages.press(
        "laboratory_report_new", check.key, at=LATER, **PAPER, samples=[sample.key], chosen=file
    )
    lines = [
        ";".join([sample.label, *(one.get(n, "") for n in MEASURED), *PAPER.values()])
        for one in reported(document)
    ]
    with time_machine.travel(LATER, tick=False):
        head = ";".join(("bottle", *MEASURED, "laboratory", "report number", "report date"))
        actor = replace(scene.contractor, at=LATER)
        taken(actor, "values", "\n".join([head, *lines]) + "\n")
    pages.press("check_hand_in", check.key, at=LATER, once=uuid4())
    return ConcentrateCheck.objects.get(pk=check.pk)


def test_a_laboratory_answers_by_its_table_as_by_the_interface(scene, document, crew, client):
    found = form_by(answer_by_table, scene, document, client)
    expected = form_by(answer_by_interface, scene, document, client)
    assert same(found, scene, without=("file",)) == same(expected, scene, without=("file",))
