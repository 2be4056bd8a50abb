"""The life of a concentrate check as a record: moves, seal, and the chain that it shares."""

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import DatabaseError, IntegrityError, connection, transaction

from calc.canonical import canonical_bytes
from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.send_back import send_back
from itm.core import triggers
from itm.core.errors import Conflict, NotFound
from itm.records import chain
from itm.records.document_check import document_of_check
from itm.records.evaluate_check import judge
from itm.records.kinds import KINDS
from itm.records.models import ConcentrateCheck, ConcentrateSample, SampleValue, Seal
from itm.reports import content_check_paper
from tests.checks import (
    ON,
    at,
    checked,
    sealed,
    with_report,
)
from tests.deeds import tested

FROZEN = Path(__file__).parents[3] / "fixtures" / "frozen" / "records"
FORM_1, FORM_2 = FROZEN / "check_form_1.json", FROZEN / "check_form_2.json"


def findings():
    return [(f.kind, f.sentence) for f in chain.verify()]


# Moves and seals --------------------------------------------------------------------------------


def test_sent_back_abandoned_and_amended_like_a_test(scene):
    check = checked(scene, until="handed_in")
    send_back(actor=scene.owner, key=check.key, reason="bottom is missing", at=at(hour=17))
    check.refresh_from_db()
    assert (check.state, check.limits, check.handed_in_at) == ("draft", "", None)
    assert check.moves.get(verb="hand_in").document
    abandon(actor=scene.contractor, key=check.key, reason="sampled again", at=at(hour=18))
    other = checked(scene, on=ON + timedelta(days=1))
    draft = amend(actor=scene.contractor, key=other.key, reason="pH was read twice", at=at(hour=19))
    assert draft.samples.count() == 2
    assert draft.evaluations.count() == 0
    assert [s.label for s in draft.samples.all()] == [s.label for s in other.samples.all()]
    with pytest.raises(Conflict):
        amend(actor=scene.contractor, key=other.key, reason="again", at=at(hour=20))
    hand_in(actor=scene.contractor, key=draft.key, at=at(ON + timedelta(days=1), 20))
    sealed(ConcentrateCheck.objects.get(pk=draft.pk), scene.contractor)
    assert findings() == []


def test_a_draft_is_its_makers_alone_and_sealed_ones_are_the_authoritys(scene):
    draft = checked(scene, until="draft")
    handed = checked(scene, until="handed_in", on=ON + timedelta(days=1))
    whole = checked(scene, on=ON + timedelta(days=2))

    def seen(actor):
        return set(ConcentrateCheck.objects.visible_to(actor))

    assert seen(scene.contractor) == {draft, handed, whole}
    assert seen(scene.owner) == {handed, whole}
    assert seen(scene.authority) == {whole}
    samples = ConcentrateSample.objects.visible_to(scene.authority)
    assert {sample.concentrate_check for sample in samples} == {whole}
    with pytest.raises(NotFound):
        hand_in(actor=scene.owner, key=draft.key, at=at())


def test_an_owner_checks_its_own_tank_and_signs_it(scene):
    check = checked(scene, by=scene.owner)
    assert check.seal.signed_for == scene.owner.organisation_name
    assert findings() == []


SEALED_ROWS = [
    "UPDATE records_concentratecheck SET limits = 'no limits'",
    "UPDATE records_concentratecheck SET sealed_at = NULL, state = 'draft'",
    "UPDATE records_concentratesample SET label = 'X'",
    "UPDATE records_samplevalue SET value = 1",
    "UPDATE records_laboratoryreport SET number = 'X'",
    "DELETE FROM records_samplevalue",
    "DELETE FROM records_concentratesample",
    "DELETE FROM records_laboratoryreport",
]


def sql(statement, *values):
    connection.cursor().execute(statement, values)


@pytest.mark.parametrize("statement", SEALED_ROWS)
def test_the_database_refuses_to_change_a_sealed_check(scene, statement):
    with_report(scene)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        sql(statement)
    assert findings() == []


def test_the_database_refuses_new_rows_under_a_sealed_check(scene):
    check = with_report(scene)
    sample = check.samples.get()
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        SampleValue.objects.create(
            by=scene.contractor, sample=sample, name="ph", value=7, value_typed="7",
            origin="own", entered_at=at(), entered_by="somebody",
        )  # fmt: skip
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        ConcentrateSample.objects.create(
            by=scene.contractor, concentrate_check=check, organisation=check.organisation,
            label="late", point="top", taken_at=at(), taken_by="somebody",
        )  # fmt: skip


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE records_samplevalue SET value_typed = '9'", "value_typed of"),
        ("UPDATE records_laboratoryreport SET sha256 = 'x'", "sha256 of"),
        ("UPDATE records_concentratecheck SET circulated = true", "circulated of"),
        ("UPDATE records_concentratesample SET sealed_at = NULL", "no longer marked"),
        ("DELETE FROM records_samplevalue WHERE name = 'density'", "is gone"),
    ],
)
def test_a_change_past_all_guards_is_found_and_named(scene, statement, words):
    with_report(scene)
    triggers.drop(connection)
    sql(statement)
    triggers.lay(connection)
    found = findings()
    assert {kind for kind, _ in found} == {"broken"}
    assert any(words in sentence for _, sentence in found)


def test_tests_and_checks_stand_in_one_chain_of_the_site(scene):
    checked(scene, on=ON)
    tested(scene, on=ON + timedelta(days=1))
    checked(scene, on=ON + timedelta(days=2), by=scene.owner)
    kinds = [chain.parsed(seal)["kind"] for seal in Seal.objects.order_by("number")]
    assert kinds == ["concentrate check", "proportioning test", "concentrate check"]
    links = list(Seal.objects.order_by("number").values_list("digest", "previous"))
    assert [previous for _, previous in links] == ["", links[0][0], links[1][0]]
    assert findings() == []
    call_command("verify_records", verbosity=0)
    triggers.drop(connection)
    sql("DELETE FROM records_seal WHERE number = 1")
    triggers.lay(connection)
    words = " ".join(sentence for _, sentence in findings())
    assert "Seal 1 of the chain is missing" in words
    assert "says sealed, but it has no seal" in words


def test_a_seal_names_one_record_and_no_more(scene):
    check, test = checked(scene), tested(scene)
    with pytest.raises(IntegrityError), transaction.atomic():
        Seal.objects.create(
            by=scene.owner, site=scene.site, number=9, form=1, document=b"{}", digest="d",
            previous="p", sealed_at=at(), signer="x", signer_qualification="y", signed_for="z",
            test=test, concentrate_check=check,
        )  # fmt: skip


def test_another_result_of_the_same_engine_is_told_as_that(scene, monkeypatch):
    def otherwise(inputs):
        result = judge(inputs)
        result["strength"][0]["share_left_percent"] *= 1 + 1e-7
        return result

    monkeypatch.setattr("itm.records.evaluate_check.judge", otherwise)
    checked(scene)
    monkeypatch.undo()
    assert [kind for kind, _ in findings()] == ["differs"]


# Old canonical forms ----------------------------------------------------------------------------


def test_a_check_in_form_1_reads_as_it_did():
    """Written by the product before form 2; invented data."""
    form = json.loads(FORM_1.read_bytes())
    assert (form["form"], canonical_bytes(form)) == (1, FORM_1.read_bytes())
    sheet = content_check_paper.check_paper(
        form, digest="0" * 64, verify_url="https://example.invalid/"
    )
    assert [(line.words, line.value, line.origin) for line in sheet.values] == [
        ("refractive index nD", "1.37020", "from the laboratory's report"),
        ("density", "1032.0 kg/m³", "from the laboratory's report"),
    ]


def test_a_check_in_form_2_reads_as_it_did() -> None:
    """As its release wrote it: it knows no photos."""
    form = json.loads(FORM_2.read_bytes())
    assert (form["form"], canonical_bytes(form)) == (2, FORM_2.read_bytes())
    assert "photos" not in form
    sheet = content_check_paper.check_paper(
        form, digest="0" * 64, verify_url="https://example.invalid/"
    )
    assert [(line.words, line.value) for line in sheet.values] == [
        ("refractive index nD", "1.37020"), ("density", "1032.0 kg/m³"),
    ]  # fmt: skip


def test_a_check_sealed_in_form_1_still_verifies(scene, monkeypatch):
    """Columns that came later stand in no old row, and their absence is no finding."""

    def as_then(*args):
        form = document_of_check(*args) | {"form": 1}
        rows = [value for sample in form["samples"] for value in sample["values"]]
        for row in (*rows, *form["rows"]["values"]):
            del row["method"], row["measured_on"]
        return form

    now = KINDS[ConcentrateCheck]
    monkeypatch.setitem(KINDS, ConcentrateCheck, replace(now, form=1, document=as_then))
    checked(scene)
    monkeypatch.undo()
    assert findings() == []
    checked(scene, on=ON + timedelta(days=365))
    assert [*Seal.objects.order_by("number").values_list("form", flat=True)] == [1, 3]
    assert findings() == []
