"""What verify finds: every change past the guards, named; and never one thing as the other."""

from datetime import date

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

import calc
from itm.actions import restore
from itm.actions.hand_in import hand_in
from itm.core import triggers
from itm.records import chain
from itm.records.judging import judge
from itm.records.models import Seal
from tests.deeds import discharged, prepared, read, signed, tested


def sql(statement, *values):
    connection.cursor().execute(statement, values)


def findings():
    return [(f.kind, f.sentence) for f in chain.verify()]


def exit_code():
    try:
        call_command("verify_records", verbosity=0)
    except SystemExit as stop:
        return stop.code
    return 0


SEALED_ROWS = [
    "UPDATE records_proportioningtest SET limits = 'lean'",
    "UPDATE records_proportioningtest SET sealed_at = NULL, state = 'draft'",
    "UPDATE records_reading SET value = 1.4",
    "UPDATE records_bottle SET label = 'X'",
    "UPDATE records_flowrun SET solution_flow = 1",
    "UPDATE records_flushstep SET done_by = 'nobody'",
    "UPDATE records_restorationline SET outcome = 'not_fitted'",
    "UPDATE records_bench SET notes = 'x'",
    "UPDATE records_evaluation SET engine_version = '0'",
    "UPDATE records_seal SET digest = 'x'",
    "UPDATE records_move SET reason = 'x'",
    "DELETE FROM records_reading",
    "DELETE FROM records_seal",
    "DELETE FROM records_move",
]


@pytest.mark.parametrize("statement", SEALED_ROWS)
def test_the_database_refuses_to_change_a_sealed_record(scene, statement):
    tested(scene)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        sql(statement)
    assert findings() == []


@pytest.mark.parametrize("table", ["flowrun", "flushstep", "reading", "bottle"])
def test_the_database_refuses_new_children_of_a_sealed_record(scene, table):
    test = tested(scene)
    columns = [c for c in _columns(f"records_{table}") if c != "id"]
    fresh = {"key": f"'{'0' * 32}'", "sealed_at": "NULL", "label": "'new'", "position": "99",
             "sequence": "999", "flow_point_id": "flow_point_id"}  # fmt: skip
    if connection.vendor == "postgresql":
        fresh["key"] = "'00000000-0000-0000-0000-000000000000'"
    values = ", ".join(fresh.get(c, c) for c in columns)
    only = "WHERE run_id IS NOT NULL" if table == "bottle" else ""
    insert = (
        f"INSERT INTO records_{table} ({', '.join(columns)}) "
        f"SELECT {values} FROM records_{table} {only} LIMIT 1"
    )
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        sql(insert)
    assert test.state == "sealed"


def _columns(table):
    with connection.cursor() as cursor:
        return [c.name for c in connection.introspection.get_table_description(cursor, table)]


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE records_reading SET value_typed = '1.4' WHERE sequence = 1", "value_typed of"),
        ("UPDATE records_restorationline SET ended_by = 'x' WHERE position = 1", "ended_by of"),
        ("UPDATE records_bottle SET sealed_at = NULL WHERE label = 'S1'", "no longer marked"),
        ("UPDATE records_seal SET previous = 'x', number = 2", "does not follow"),
        ("DELETE FROM records_flushstep WHERE position = 1", "is gone"),
    ],
)
def test_a_change_past_all_guards_is_found_and_named(scene, statement, words):
    tested(scene)
    triggers.drop(connection)
    sql(statement)
    triggers.lay(connection)
    found = findings()
    assert {kind for kind, _ in found} == {"broken"}
    assert any(words in sentence for _, sentence in found)
    assert exit_code() == 1


def test_changed_bytes_and_a_seal_taken_out_of_the_chain_are_found(scene):
    for year in (2024, 2025, 2026):
        tested(scene, on=date(year, 6, 15))
    assert exit_code() == 0
    triggers.drop(connection)
    middle = Seal.objects.get(number=2)
    sql("UPDATE records_seal SET document = %s WHERE number = 1",
        bytes(middle.document).replace(b"hydrant", b"canteen"))  # fmt: skip
    sql("DELETE FROM records_seal WHERE number = 2")
    triggers.lay(connection)
    words = " ".join(sentence for _, sentence in findings())
    assert "do not give the digest" in words
    assert "Seal 2 of the chain is missing" in words
    assert "does not follow the seal before it" in words
    assert "says sealed, but it has no seal" in words


def test_a_missing_guard_is_a_finding(scene):
    tested(scene)
    triggers.drop(connection)
    assert all("guard" in sentence for _, sentence in findings())
    assert exit_code() == 1
    triggers.lay(connection)


def _by_another_engine(scene, monkeypatch, change, **options):
    """A record as another engine would have given it: its evaluation, hand-in and seal agree."""

    def otherwise(form):
        result = judge(form)
        change(result)
        return result

    monkeypatch.setattr("itm.records.evaluate.judge", otherwise)
    tested(scene, **options)
    monkeypatch.undo()


def test_another_result_under_the_same_engine_version_exits_3(scene, monkeypatch):
    def shift(result):
        result["line"]["slope"] *= 1 + 1e-7

    _by_another_engine(scene, monkeypatch, shift)
    assert [kind for kind, _ in findings()] == ["differs"]
    assert exit_code() == 3


def test_a_difference_within_a_billionth_is_none(scene, monkeypatch):
    def shift(result):
        result["line"]["slope"] *= 1 + 1e-12

    _by_another_engine(scene, monkeypatch, shift)
    assert findings() == []


@pytest.mark.parametrize(("key", "faults"), [("message", 0), ("code", 1)])
def test_a_warning_said_in_other_words_is_none_but_another_warning_is(
    scene, monkeypatch, key, faults
):
    def reword(result):
        result["warnings"][0][key] = "other"

    beyond = {"minimum": 4.6, "design": 3.4}  # beyond the last standard
    _by_another_engine(scene, monkeypatch, reword, percent=beyond)
    assert len(findings()) == faults


def test_another_engine_version_is_listed_and_is_no_fault(scene, monkeypatch, capsys):
    def older(result):
        result["engine_version"] = "0.9"
        result["flow_points"][0]["interval"][0] += 0.1

    _by_another_engine(scene, monkeypatch, older)
    assert [kind for kind, _ in findings()] == ["other_version"]
    assert exit_code() == 0
    assert f"engine 0.9, now {calc.__version__}" in capsys.readouterr().out


def test_renaming_the_system_changes_no_sealed_record(scene):
    test = tested(scene)
    name = scene.system.name
    scene.system.name = "Another name"
    scene.system.save(by=scene.owner)
    assert chain.parsed(test.seal)["system"]["name"] == name
    assert findings() == []


def test_a_system_put_back_after_sealing_leaves_the_seal_whole(scene):
    day = read(discharged(prepared(scene)), {"minimum": 3.2, "design": 3.4})
    lines = list(day.test.visit.restoration_lines.order_by("position"))
    for line in lines[:-1]:
        restore.end_line(actor=day.actor, line=line, outcome="restored", at=day.tick())
    restore.end_line(
        actor=day.actor, line=lines[-1], outcome="left_out", at=day.tick(), reason="valve stuck",
        handed_to="duty engineer", handed_at=day.now,
    )  # fmt: skip
    hand_in(actor=day.actor, key=day.test.key, at=day.tick())
    signed(day)
    day.test.visit.refresh_from_db()
    assert day.test.visit.impaired
    restore.put_back(actor=day.actor, line=lines[-1], at=day.tick(days=1))
    day.test.visit.refresh_from_db()
    assert not day.test.visit.impaired
    assert findings() == []
