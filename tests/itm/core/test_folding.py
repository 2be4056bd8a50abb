"""Folds of the history: what is changed, taken out or put in afterwards is found.

The digest is SHA-256 (FIPS 180-4) as Python has it, taken here anew over the text of each line.
"""

import hashlib
import json
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.utils import timezone

from itm.core import folding, triggers
from itm.core.folding import Fold
from itm.core.history import Change
from itm.notices import mail
from itm.records import known
from tests.factories import SiteFactory

HOUR = timedelta(hours=1)


@pytest.fixture
def rested(scene):
    """The lines that made the scene, and a moment at which they are old enough."""
    return timezone.now() + HOUR


def faults():
    return [(one.kind, one.sentence) for one in folding.verify()]


def past_the_guards(sql: str, *values) -> None:
    triggers.drop(connection)
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
    triggers.lay(connection)


def test_a_fold_is_the_digest_over_all_that_its_lines_say(rested):
    folding.fold(rested)
    of = hashlib.sha256(b"")
    for one in Change.objects.order_by("pk"):
        said = [
            one.pk, one.at.astimezone(UTC).isoformat(), str(one.person_key or ""), one.person,
            one.organisation, one.via, one.model, str(one.object_key or ""), one.verb, one.before,
            one.after, one.note,
        ]  # fmt: skip
        text = json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        of.update(b"\n" + text.encode())
    made = Fold.objects.get()
    assert made.digest == of.hexdigest()
    assert made.lines == Change.objects.count()
    assert faults() == []


def test_it_folds_once_an_hour_what_rested_and_goes_on_from_the_last(rested):
    folding.fold(timezone.now())
    assert not Fold.objects.exists()  # what was written this moment may not be all of it yet
    folding.fold(rested)
    folding.fold(rested + HOUR / 2)
    SiteFactory()
    folding.fold(rested + HOUR / 2)
    first = Fold.objects.get()
    folding.fold(rested + HOUR)
    second = Fold.objects.latest("pk")
    assert (second.previous, second.runs[0][0]) == (first.digest, first.top + 1)
    folding.fold(rested + 3 * HOUR)
    assert Fold.objects.count() == 2  # nothing new is nothing folded
    assert faults() == []


def test_of_two_that_fold_at_once_one_does(rested):
    first = folding.fold_now(rested)
    with pytest.raises(IntegrityError), transaction.atomic():
        Fold.objects.create(
            made_at=rested, runs=first.runs, lines=1, top=1, previous="", digest="b" * 64
        )


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("person", "Somebody else"), ("organisation", "Another"), ("via", "api"),
        ("at", datetime(2020, 1, 1, tzinfo=UTC)), ("verb", "seen"), ("note", "another reason"),
        ("before", '{"name": "x"}'), ("after", '{"name": "x"}'), ("model", "core.Other"),
        ("person_key", "0" * 32), ("object_key", "0" * 32),
    ],
)  # fmt: skip
def test_whatever_is_changed_of_a_folded_line_is_found(rested, column, value):
    folding.fold(rested)
    one = Change.objects.first().pk
    past_the_guards(f"UPDATE core_change SET {column} = %s WHERE id = %s", value, one)
    assert faults() == [("broken", "A line of it, or the fold itself, was changed.")]


def test_a_line_that_was_taken_out_is_found(rested):
    folding.fold(rested)
    past_the_guards("DELETE FROM core_change WHERE id = %s", Change.objects.first().pk)
    made = Fold.objects.get()
    assert faults() == [("broken", f"Of its {made.lines} lines 1 are gone.")]


def test_a_fold_that_was_made_to_fit_breaks_the_next_and_all_anew_shows_by_a_mail(rested):
    folding.fold(rested)
    SiteFactory()
    folding.fold(rested + HOUR)
    first, second = Fold.objects.order_by("pk")
    line = Change.objects.first()
    past_the_guards("UPDATE core_change SET person = 'X' WHERE id = %s", line.pk)
    _, fits = folding._taken("", first.runs)
    past_the_guards("UPDATE core_fold SET digest = %s WHERE id = %s", fits, first.pk)
    assert faults() == [("broken", "The fold before it is gone or was changed.")]
    past_the_guards("DELETE FROM core_fold")
    folding.fold(rested + 2 * HOUR)
    assert faults() == []  # written anew as a whole it fits together
    held = known.digests_in(f"History: {second.digest}")
    assert [one.kind for one in known.missing(held, "mail.txt")] == ["broken"]
    mine = known.digests_in(Fold.objects.get().digest)
    assert list(known.missing(mine, "mail.txt")) == []


def test_a_line_of_a_deed_that_took_long_is_folded_later_and_told(rested):
    first = Change.objects.order_by("pk").first()
    kept = Change.objects.filter(pk=first.pk).values().get()
    missing = Change.objects.order_by("pk")[1]
    late = Change.objects.filter(pk=missing.pk).values().get()
    past_the_guards("DELETE FROM core_change WHERE id = %s", missing.pk)
    folding.fold(rested)
    assert faults() == []  # a number that is not there is no fault: a deed was undone
    Change.objects.bulk_create([Change(**late)])
    [(kind, sentence)] = faults()
    assert (kind, sentence[:14]) == ("late", "1 lines stand ")
    folding.fold(rested + HOUR)
    assert Fold.objects.latest("pk").runs == [[missing.pk, missing.pk]]
    [(kind, sentence)] = faults()
    assert kind == "late"
    assert f"Lines {missing.pk} came after the fold of " in sentence
    assert kept == Change.objects.filter(pk=first.pk).values().get()


def test_the_database_refuses_to_change_a_fold(rested):
    folding.fold(rested)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        Fold.objects.update(lines=1)


def test_the_command_ends_with_one_and_the_mail_carries_the_digest(scene, rested, capsys):
    folding.fold(rested)
    body = mail.body(scene.owner, timezone.now(), 14, "stop", mail.wrong_now(scene.owner, rested))
    assert Fold.objects.get().digest in body
    call_command("verify_records", "--only=records")
    assert (
        "0 sealed records, 1 folds of the history looked at, 0 findings" in capsys.readouterr().out
    )
    past_the_guards("UPDATE core_change SET note = 'y' WHERE id = %s", Change.objects.first().pk)
    with pytest.raises(SystemExit) as ended:
        call_command("verify_records", "--only=records")
    assert ended.value.code == 1
