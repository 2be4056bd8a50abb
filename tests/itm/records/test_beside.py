"""What is read beside a sealed record is what was sealed: a change past all guards is found.

The guards of the visit let through what a day legitimately brings later.
"""

import json
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from calc.canonical import canonical_bytes, digest_bytes
from itm.actions.sign import sign
from itm.core import triggers
from itm.core.history import Change
from itm.core.quantities import Quantity
from itm.records import chain, device_clocks, effluent
from itm.records.models import Evaluation, Move, Notice
from tests.checks import checked
from tests.deeds import tested
from tests.factories import OrganisationFactory


def sql(statement, *values):
    connection.cursor().execute(statement, values)


def findings():
    return [(f.kind, f.sentence) for f in chain.verify()]


def past_all_guards(statement, *values):
    triggers.drop(connection)
    sql(statement, *values)
    triggers.lay(connection)


def found(words):
    """Something was found, nothing but broken, and one of the sentences says this."""
    seen = findings()
    assert {kind for kind, _ in seen} == {"broken"}
    assert any(words in sentence for _, sentence in seen), seen


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE records_evaluation SET engine_version = '0.1'", "evaluation: engine_version"),
        ("UPDATE records_evaluation SET inputs_digest = 'x'", "evaluation: inputs_digest"),
        ("DELETE FROM records_evaluation", "The evaluation that was sealed is gone"),
        ("UPDATE records_move SET document = NULL", "has lost its bytes"),
        ("UPDATE records_move SET digest = 'x' WHERE verb = 'hand_in'", "do not give its digest"),
        ("UPDATE records_move SET digest = 'x' WHERE verb = 'sign'", "digest is not what its hist"),
        ("UPDATE records_move SET person = 'x' WHERE verb = 'sign'", "moves: number"),
        ("UPDATE records_move SET verb = 'amend' WHERE verb = 'hand_in'", "0 hand-ins stand"),
        ("DELETE FROM records_move WHERE verb = 'sign'", "moves: the sign of"),
        ("UPDATE records_seal SET form = 1", "seal: form is 1"),
        ("UPDATE records_seal SET signer = 'x'", "seal: signer is 'x', sealed as"),
        ("UPDATE records_seal SET signer_qualification = 'x'", "seal: signer_qualification is"),
        ("UPDATE records_seal SET signer_number = 'x'", "seal: signer_number is 'x'"),
        ("UPDATE records_seal SET signed_for = 'x'", "seal: signed_for is 'x'"),
        ("UPDATE records_visit SET crew = 'x'", "visit: crew is 'x', sealed as"),
        ("UPDATE records_visit SET planned_on = '2020-01-01'", "visit: planned_on is"),
        ("UPDATE records_visit SET weather = 'x'", "visit: weather is 'x'"),
        ("UPDATE records_visit SET ambient_c = 4", "ambient_c is not what its history says"),
        ("UPDATE records_visit SET started_at = '2020-01-01 00:00:00Z'", "visit: started_at is"),
        ("UPDATE records_visit SET restored_at = NULL", "restored_at is not what its history"),
        ("UPDATE records_visit SET restored_by = 'x'", "no line of its restoration ended"),
        ("UPDATE records_notice SET told = 'x'", "gone or changed"),
        ("DELETE FROM records_notice", "gone or changed"),
    ],
)
def test_what_is_read_beside_the_record_is_compared(scene, statement, words):
    tested(scene)
    assert findings() == []
    past_all_guards(statement)
    found(words)


def test_another_percent_in_the_stored_result_is_found(scene):
    """Trends and baselines read it there, and not in the sealed bytes."""
    tested(scene)
    result = Evaluation.objects.get().result
    result["flow_points"][0]["percent"] = 3.3333
    past_all_guards("UPDATE records_evaluation SET result = %s", json.dumps(result))
    found("evaluation: result of the last one is not what was sealed")


def test_an_evaluation_added_after_the_seal_is_found_though_nothing_refuses_it(scene):
    test = tested(scene)
    kept = Evaluation.objects.get()
    Evaluation.objects.create(
        by=scene.contractor, test=test, engine_version=kept.engine_version,
        inputs_digest=kept.inputs_digest, inputs=kept.inputs, result=kept.result | {"x": 1},
    )  # fmt: skip
    found("evaluation: result of the last one")
    found("1 hand-ins stand beside 2 evaluations")


def test_a_move_or_a_notice_added_after_the_seal_is_found(scene):
    test = tested(scene)
    Move.objects.create(
        by=scene.contractor, test=test, verb="send_back", at=test.sealed_at, person="x",
        organisation="y",
    )  # fmt: skip
    found("a send_back was added after sealing")
    triggers.drop(connection)
    Notice.objects.create(
        by=scene.contractor, visit=test.visit, told="Fire service", told_by="x",
        told_at=test.sealed_at,
    )  # fmt: skip
    triggers.lay(connection)
    found("was added after sealing")


def test_a_hand_in_with_bytes_of_another_result_is_found_though_their_digest_fits(scene):
    tested(scene)
    move = Move.objects.get(verb="hand_in")
    form = json.loads(bytes(move.document))
    form["evaluation"]["result"]["flow_points"][0]["percent"] = 3.3333
    data = canonical_bytes(form)
    past_all_guards(
        "UPDATE records_move SET document = %s, digest = %s WHERE verb = 'hand_in'",
        data, digest_bytes(data),
    )  # fmt: skip
    found("its evaluation is not the one that is kept of it")
    found("digest is not what its history says")


def test_another_contractor_is_found_also_where_the_history_was_made_to_fit(scene):
    tested(scene)
    other = OrganisationFactory(kind="contractor")
    past_all_guards("UPDATE records_visit SET contractor_id = %s", other.pk)
    found("contractor_id is not what its history says")
    line = Change.objects.filter(model="records.Visit", verb="created").get()
    fitting = json.dumps(line.after | {"contractor_id": other.pk})
    past_all_guards("UPDATE core_change SET after = %s WHERE id = %s", fitting, line.pk)
    found("visit: contractor is")


def test_a_contractor_that_is_called_otherwise_now_is_no_finding(scene):
    contractor = tested(scene).visit.contractor
    contractor.name = "Another name"
    contractor.save(by=scene.contractor)
    assert findings() == []


def test_the_same_is_compared_for_a_concentrate_check(scene):
    checked(scene)
    assert findings() == []
    result = Evaluation.objects.get().result | {"limits": "x"}
    past_all_guards("UPDATE records_evaluation SET result = %s", json.dumps(result))
    past_all_guards("UPDATE records_seal SET signer = 'x'")
    found("evaluation: result of the last one")
    found("seal: signer is 'x'")


UNDER_A_SEAL = [
    "UPDATE records_visit SET crew = 'x'",
    "UPDATE records_visit SET ambient_c = 4",
    "UPDATE records_visit SET started_at = NULL, restored_at = NULL",
    "UPDATE records_visit SET contractor_id = contractor_id + 1",
    "DELETE FROM records_visit",
    "UPDATE records_notice SET told = 'x'",
    "DELETE FROM records_notice",
]


@pytest.mark.parametrize("statement", UNDER_A_SEAL)
def test_the_database_refuses_to_change_a_visit_or_notice_under_a_seal(scene, statement):
    test = tested(scene, until="handed_in")
    with transaction.atomic():
        sql(statement)
        transaction.set_rollback(True)
    sign(
        actor=scene.contractor, key=test.key, at=test.handed_in_at + timedelta(minutes=5),
        name="A signer", qualification="Foam systems technician",
    )  # fmt: skip
    with pytest.raises(DatabaseError, match="of its visit never"), transaction.atomic():
        sql(statement)
    assert findings() == []


def test_nobody_is_noted_as_told_under_a_seal(scene):
    test = tested(scene)
    with pytest.raises(DatabaseError, match="of its visit never"), transaction.atomic():
        Notice.objects.create(
            by=scene.contractor, visit=test.visit, told="Fire service", told_by="x",
            told_at=test.sealed_at,
        )  # fmt: skip
    assert findings() == []


def test_what_a_day_brings_later_is_no_finding(scene):
    """A clock that a late device told of, and the papers of the effluent weeks after the seal."""
    test = tested(scene)
    device_clocks.note(
        actor=scene.contractor, visit=test.visit, off=timedelta(hours=1), at=test.sealed_at
    )
    later = test.tested_on + timedelta(days=20)
    effluent.note(
        actor=scene.contractor, site=scene.site, visit=test.visit, today=later, kind="hauled",
        happened_on=later, volume=Quantity(1.0, "1000 L"), hauler="A hauler", paper="W-1",
        place="bund",
    )  # fmt: skip
    assert findings() == []
