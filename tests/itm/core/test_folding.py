"""Folds of the history: what is changed, taken out or put in afterwards is found.

The digest is SHA-256 (FIPS 180-4) as Python has it, taken here anew over the text of each line.
"""

import hashlib
import json
import zipfile
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail as mails
from django.core.management import call_command
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.utils import timezone

from itm.core import folding, outbox, triggers
from itm.core.folding import Fold
from itm.core.history import Change
from itm.findings import alarms, clocks, impairing
from itm.findings.models import NoticeClock
from itm.notices import calendar, gathering, mail
from itm.records import known
from tests.archiving import archived
from tests.factories import SiteFactory
from tests.itm.schedule.many import many_duties

HOUR = timedelta(hours=1)


@pytest.fixture
def rested(scene):
    """The lines that made the scene, and a moment at which they are old enough."""
    return timezone.now() + HOUR


def faults():
    return [(one.kind, one.sentence) for one in folding.verify(timezone.now())]


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


# It leaves the house ----------------------------------------------------------------------------


@pytest.fixture
def digest(rested) -> str:
    folding.fold(rested)
    return Fold.objects.get().digest


def assert_carries(text: str, digest: str) -> None:
    """As whoever kept the text would ask: every digest in it is known here, and none once the folds
    were written anew."""
    held = known.digests_in(text)
    assert digest in {one.digest for one in held}
    assert list(known.missing(held, "kept.txt")) == []
    past_the_guards("DELETE FROM core_fold")
    assert digest in " ".join(one.sentence for one in known.missing(held, "kept.txt"))


def test_a_mail_at_once_carries_the_digest(scene, digest):
    now = timezone.now()
    gathering.begin_at(now - timedelta(minutes=1))
    out_of_service(scene, now)
    gathering.gather(now)
    outbox.drain()
    [message] = [one for one in mails.outbox if one.to == [scene.authority.user.email]]
    assert_carries(message.body, digest)


def test_the_alarm_of_a_clock_carries_the_digest(scene, digest):
    now = timezone.now()
    out_of_service(scene, now)
    clock = NoticeClock.objects.get(code="commanders-at-72-hours")
    clocks.adopt_clock(
        actor=scene.owner, clock=clock, sites=[scene.site], checked_against="", at=now
    )
    alarms.sound(now + timedelta(hours=73))
    outbox.drain()
    [message] = mails.outbox
    assert_carries(message.body, digest)


def out_of_service(scene, now: datetime) -> None:
    impairing.open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a leak",
        coordinator="Duty engineer", started_at=now, at=now,
    )  # fmt: skip


def test_a_calendar_carries_it_once_though_its_lines_are_folded_at_75_octets(scene, digest):
    many_duties([scene.site], 5, begun=timezone.now().date(), days=100)
    text = calendar.feed(scene.owner, timezone.now()).decode()
    assert text.count("Digest over the") == 1
    assert_carries(text, digest)


def test_the_archive_of_a_site_carries_it_and_has_none_before_the_first(scene, rested, tmp_path):
    def held(name: str) -> tuple[str, dict | None]:
        with zipfile.ZipFile(archived(scene.owner, scene.site, tmp_path / name)) as file:
            manifest = json.loads(file.read("manifest.json"))
            return file.read("README.txt").decode(), manifest["history_fold"]

    readme, noted = held("before.zip")
    assert (noted, known.digests_in(readme)) == (None, [])
    folding.fold(rested)
    made = Fold.objects.get()
    readme, noted = held("after.zip")
    told = made.made_at.astimezone(UTC).isoformat().replace("+00:00", "Z")
    assert noted == {"made_at": told, "digest": made.digest}
    assert_carries(readme, made.digest)


# It goes on -------------------------------------------------------------------------------------


def test_lines_that_stay_unfolded_for_hours_are_told_and_are_no_fault(rested, capsys):
    made = timezone.now()
    assert faults() == []  # what was written this hour waits for the clock
    [none] = folding.verify(made + 4 * HOUR)
    assert none.kind == "unfolded"
    lines = Change.objects.count()
    assert none.sentence.startswith(f"{lines} lines that rested stand in no fold: there is none at")
    folding.fold(rested)
    assert list(folding.verify(made + 9 * HOUR)) == []  # nothing new is nothing to fold
    SiteFactory()
    assert list(folding.verify(made + 2 * HOUR)) == []
    [still] = folding.verify(made + 9 * HOUR)
    assert still.kind == "unfolded"
    assert f"the last one was made on {rested:%Y-%m-%d %H:%M} UTC" in still.sentence
    folding.fold(made + 9 * HOUR)
    assert list(folding.verify(made + 10 * HOUR)) == []


def test_while_the_clock_folds_what_waits_for_its_turn_is_not_told(rested, monkeypatch):
    """A history that was brought in takes many folds, of which each holds so many lines."""
    monkeypatch.setattr(folding, "MOST", 2)
    later = rested + 5 * HOUR
    folding.fold(later)
    assert Change.objects.filter(pk__gt=Fold.objects.get().top).exists()
    assert list(folding.verify(later + HOUR)) == []
    assert [one.kind for one in folding.verify(later + 4 * HOUR)] == ["unfolded"]


def test_the_command_tells_it_and_ends_with_none(scene, monkeypatch, capsys):
    monkeypatch.setattr(folding, "LAPSE", -HOUR)
    call_command("verify_records", "--only=records")
    out = capsys.readouterr().out
    assert "unfolded: history: " in out
    assert "0 sealed records looked at, 1 findings" in out
