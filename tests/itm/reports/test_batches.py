"""Many reports in one file: what is in it, what a failure costs, and that nothing is made twice."""

import csv
import hashlib
import io
import zipfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone

from itm.core import outbox
from itm.core.errors import Refused
from itm.core.outbox import Job
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.reports import batches, queries
from itm.reports.models import Batch, Report
from tests.checks import checked
from tests.deeds import tested
from tests.factories import actor_of

NOW = datetime(2026, 6, 20, 12, tzinfo=UTC)


@pytest.fixture
def sealed(scene: Any) -> list[ProportioningTest]:
    return [tested(scene, on=date(2026, 6, day)) for day in (15, 16, 17)]


@pytest.fixture
def asked(scene: Any, sealed: list[ProportioningTest]) -> Batch:
    return ask(scene.owner, sealed)


def ask(actor: Any, rows: list[Any], kind: str = "tests") -> Batch:
    keys = [str(row.key) for row in rows]
    return batches.ask(actor=actor, kind=kind, keys=keys, words="Proportioning tests: all", at=NOW)


def opened(row: Batch) -> zipfile.ZipFile:
    row.refresh_from_db()
    return zipfile.ZipFile(io.BytesIO(row.file.read()))


def listed(packed: zipfile.ZipFile, name: str = "list.csv") -> list[list[str]]:
    return list(csv.reader(io.StringIO(packed.read(name).decode("utf-8-sig"))))


def test_the_file_holds_each_report_as_its_own_page_gives_it(
    sealed: list[ProportioningTest], asked: Batch
) -> None:
    outbox.drain()
    packed = opened(asked)
    assert packed.testzip() is None
    names = [name for name in packed.namelist() if name.endswith(".pdf")]
    assert len(names) == 3
    assert [name[:3] for name in names] == ["001", "002", "003"]
    head, *lines = listed(packed)
    for test, name, line in zip(sealed, names, lines, strict=True):
        data = packed.read(name)
        assert data == queries.report_bytes(test.seal)
        told = dict(zip(head, line, strict=True))
        assert told["File"] == name
        assert told["Digest of the record"] == test.seal.digest
        assert told["SHA-256 of the PDF"] == hashlib.sha256(data).hexdigest()
    assert "not-in-this-file.csv" not in packed.namelist()
    assert (asked.state, asked.at, asked.made) == ("ready", 3, 3)
    assert asked.sha256 == hashlib.sha256(asked.file.open().read()).hexdigest()
    assert asked.expires_at is not None
    assert asked.expires_at - timezone.now() <= batches.KEPT


def test_checks_are_packed_like_tests(scene: Any) -> None:
    check: ConcentrateCheck = checked(scene)
    row = ask(scene.contractor, [check], "checks")
    outbox.drain()
    assert listed(opened(row))[1][5] == check.seal.digest


def test_one_that_fails_is_named_and_keeps_none_back(
    sealed: list[ProportioningTest], asked: Batch, monkeypatch: Any
) -> None:
    made = batches.render_report

    def fails_for_the_second(key: str) -> None:
        if key == str(sealed[1].key):
            raise OSError("the disk said no, in words that are nobody's business")
        made(key)

    monkeypatch.setattr(batches, "render_report", fails_for_the_second)
    outbox.drain()
    packed = opened(asked)
    assert len([name for name in packed.namelist() if name.endswith(".pdf")]) == 2
    [[what, why]] = batches.failures(asked)
    assert what == str(sealed[1])
    assert why == batches.SERVER_FAULT
    assert listed(packed, "not-in-this-file.csv")[1:] == [[what, why]]


def test_where_none_can_be_made_the_page_says_why(asked: Batch, monkeypatch: Any) -> None:
    def refuse(key: str) -> None:
        raise Refused("pango_missing", "The library Pango is missing.")

    monkeypatch.setattr(batches, "render_report", refuse)
    outbox.drain()
    asked.refresh_from_db()
    assert asked.state == "failed"
    assert "None of the reports" in asked.problem
    assert {why for _, why in batches.failures(asked)} == {"The library Pango is missing."}


def test_it_works_in_slices_and_lets_others_go_first(
    sealed: list[ProportioningTest], asked: Batch, monkeypatch: Any
) -> None:
    monkeypatch.setattr(batches, "SLICE", 0.0)
    Job.objects.exclude(kind="make_batch").delete()
    assert outbox.run_one()
    asked.refresh_from_db()
    assert (asked.state, asked.at) == ("making", 1)
    outbox.add("render_report", record_key=str(sealed[2].key))
    assert outbox.run_one()
    assert Report.objects.filter(test=sealed[2]).exists()  # what came later went first
    asked.refresh_from_db()
    assert asked.at == 1
    outbox.drain()
    asked.refresh_from_db()
    assert (asked.state, asked.failures) == ("ready", {})


class CutOff(BaseException):
    """What ends a process: no job can catch it and say so."""


def test_a_worker_that_is_cut_off_goes_on_where_it_was(
    sealed: list[ProportioningTest], asked: Batch, monkeypatch: Any
) -> None:
    Job.objects.exclude(kind="make_batch").delete()
    made, calls = batches.render_report, []

    def cut_off_at_the_second(key: str) -> None:
        calls.append(key)
        if len(calls) == 2:
            raise CutOff
        made(key)

    monkeypatch.setattr(batches, "render_report", cut_off_at_the_second)
    monkeypatch.setattr(batches, "SLICE", 600.0)  # however slow this machine is today
    with pytest.raises(CutOff):
        outbox.run_one()
    assert not outbox.run_one()  # its lease still runs: nobody begins it a second time
    job = Job.objects.get()
    assert job.leased_until is not None
    assert job.leased_until - timezone.now() <= batches.LEASE
    Job.objects.update(leased_until=timezone.now() - timedelta(seconds=1))
    outbox.drain()
    asked.refresh_from_db()
    assert (asked.state, asked.failures) == ("ready", {})
    keys = [str(test.key) for test in sealed]
    assert calls == [keys[0], keys[1], keys[1], keys[2]]


def test_a_record_that_ends_its_worker_twice_is_left_out(
    sealed: list[ProportioningTest], asked: Batch, monkeypatch: Any
) -> None:
    Job.objects.exclude(kind="make_batch").delete()
    made = batches.render_report

    def ends_the_process(key: str) -> None:
        if key == str(sealed[0].key):
            raise CutOff
        made(key)

    monkeypatch.setattr(batches, "render_report", ends_the_process)
    for _ in range(batches.TWICE):
        with pytest.raises(CutOff):
            outbox.run_one()
        Job.objects.update(leased_until=timezone.now() - timedelta(seconds=1))
    outbox.drain()
    asked.refresh_from_db()
    assert asked.state == "ready"
    assert batches.failures(asked) == [(str(sealed[0]), batches.CUT_OFF)]


def test_the_job_run_twice_leaves_one_file(asked: Batch) -> None:
    while batches.make_batch(str(asked.key)) is outbox.MORE:
        pass  # a slow machine needs more than one slice
    asked.refresh_from_db()
    first = (asked.file.name, asked.sha256)
    assert batches.make_batch(str(asked.key)) is None
    asked.refresh_from_db()
    assert (asked.file.name, asked.sha256) == first
    assert len(list((Path(settings.MEDIA_ROOT) / "batches").glob("*"))) == 1


def test_a_cancelled_one_stops_and_leaves_no_file(
    scene: Any, asked: Batch, monkeypatch: Any
) -> None:
    made = batches.render_report

    def cancelled_meanwhile(key: str) -> None:
        made(key)
        batches.cancel(actor=scene.owner, row=Batch.objects.get(pk=asked.pk), at=NOW)

    monkeypatch.setattr(batches, "render_report", cancelled_meanwhile)
    outbox.drain()
    asked.refresh_from_db()
    assert (asked.state, asked.file.name, asked.at) == ("cancelled", "", 0)
    assert not batches.cancel(actor=scene.owner, row=asked, at=NOW)
    assert not outbox.waiting().filter(kind="make_batch").exists()


def test_what_was_given_up_says_what_to_do(asked: Batch) -> None:
    batches.batch_given_up(str(asked.key))
    asked.refresh_from_db()
    assert (asked.state, asked.problem) == ("failed", batches.GAVE_UP)


def test_an_expired_file_goes_and_its_row_says_so(asked: Batch) -> None:
    outbox.drain()
    asked.refresh_from_db()
    name, storage = asked.file.name, asked.file.storage
    before = asked.expires_at - timedelta(seconds=1)
    batches.expire(before)
    asked.refresh_from_db()
    assert asked.state == "ready"
    with_commit = asked.expires_at
    batches.expire(with_commit)
    batches.expire(with_commit)
    asked.refresh_from_db()
    assert (asked.state, asked.file.name) == ("expired", "")
    assert name
    assert storage


def test_a_person_has_one_under_way(scene: Any, sealed: list[Any], asked: Batch) -> None:
    with pytest.raises(Refused, match="being made still") as info:
        ask(scene.owner, sealed)
    assert info.value.code == "busy"
    ask(actor_of(scene.owner.organisation), sealed)  # a colleague has one of their own


def test_the_bound_is_said_in_a_sentence() -> None:
    batches.require_bound(["a"] * batches.MOST)
    with pytest.raises(Refused, match="at most 500 reports") as info:
        batches.require_bound(["a"] * (batches.MOST + 1))
    assert info.value.code == "too_many"
    with pytest.raises(Refused, match="only a sealed record has a report"):
        batches.require_bound([])


def test_only_sealed_ones_are_among_them(scene: Any, sealed: list[Any]) -> None:
    tested(scene, on=date(2026, 6, 18), until="handed_in")
    rows = ProportioningTest.objects.visible_to(scene.owner).order_by("tested_on")
    assert rows.count() == 4
    assert batches.sealed_among(rows) == [str(row.key) for row in sealed]


def test_whose_time_at_the_site_is_over_takes_nothing_along(scene: Any, sealed: list[Any]) -> None:
    """An engaged contractor sees sealed tests of others; when the engagement is over, the file
    that was made before does not outlive it."""
    from tests.factories import GrantFactory, OrganisationFactory

    other = actor_of(OrganisationFactory(kind="contractor"))
    grant = GrantFactory(site=scene.site, organisation=other.organisation)
    row = ask(other, sealed)
    outbox.drain()
    row.refresh_from_db()
    batches.require_yours(other, row)
    grant.ends_on = date(2026, 6, 1)
    grant.save(by=scene.owner)
    with pytest.raises(Refused, match="3 of the 3 records") as info:
        batches.require_yours(other, row)
    assert info.value.code == "not_yours_any_more"


def test_what_is_no_longer_ones_own_is_named_without_a_word_of_it(
    scene: Any, sealed: list[Any]
) -> None:
    from tests.factories import GrantFactory, OrganisationFactory

    other = actor_of(OrganisationFactory(kind="contractor"))
    grant = GrantFactory(site=scene.site, organisation=other.organisation)
    row = ask(other, sealed)
    grant.ends_on = date(2026, 6, 1)
    grant.save(by=scene.owner)
    outbox.drain()
    row.refresh_from_db()
    assert row.state == "failed"
    assert {what for what, _ in batches.failures(row)} == {"A record"}
