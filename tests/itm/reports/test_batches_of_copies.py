"""Files of copies: on the paper and in the units that were asked for, from the sealed bytes.

1 US gal is 3.785411784 L (NIST SP 811, Appendix B.8).
"""

import hashlib
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.db import IntegrityError, transaction
from django.utils import timezone

from itm.core import outbox
from itm.core.errors import Refused
from itm.reports import batch_parts, batches, queries
from itm.reports.models import Batch, Report
from tests.checks import checked
from tests.deeds import tested
from tests.itm.reports.archival import POINTS, read, require_archival, text
from tests.itm.reports.test_batches import NOW, listed, opened


@pytest.fixture
def sealed(scene: Any) -> list[Any]:
    return [tested(scene, on=date(2026, 6, day)) for day in (15, 16)]


def ask(actor: Any, rows: list[Any], kind: str = "tests", **chosen: str) -> Batch:
    keys = [str(row.key) for row in rows]
    return batches.ask(actor=actor, kind=kind, keys=keys, words="All", at=NOW, **chosen)


def pdfs(row: Batch) -> dict[str, bytes]:
    packed = opened(row)
    return {name: packed.read(name) for name in packed.namelist() if name.endswith(".pdf")}


def parts_of(row: Batch) -> list[str]:
    names = [batch_parts.place(row, number) for number in range(len(row.records))]
    return [name for name in names if default_storage.exists(name)]


def test_each_copy_is_of_the_sealed_bytes_and_says_what_it_is(
    scene: Any, sealed: list[Any]
) -> None:
    row = ask(scene.owner, sealed, paper="letter", units="us")
    outbox.drain()
    made = pdfs(row)
    assert [name.endswith("-letter-us.pdf") for name in made] == [True, True]
    for test, (name, data) in zip(sealed, made.items(), strict=True):
        reader = read(data)
        box = reader.pages[0].mediabox
        assert (round(float(box.width)), round(float(box.height))) == POINTS["letter"]
        assert reader.attachments["record.json"][0] == bytes(test.seal.document)
        said = text(data)
        assert "A copy on Letter of the report that is kept on A4 as it was typed" in said
        assert "Quantities stand in US customary" in said
        assert "US gpm (typed" in said
        told = next(line for line in listed(opened(row)) if line[0] == name)
        assert told[5:] == [test.seal.digest, hashlib.sha256(data).hexdigest()]
    plot = next(n for n, page in enumerate(reader.pages, 1) if "in band" in page.extract_text())
    require_archival(data, size="letter", plotted=range(1, plot + 3))


@pytest.mark.parametrize(
    ("chosen", "ending"),
    [({"paper": "letter"}, "-letter.pdf"), ({"units": "us"}, "-a4-us.pdf"), ({}, "-16.pdf")],
)
def test_either_may_be_chosen_alone(
    scene: Any, sealed: list[Any], chosen: dict[str, str], ending: str
) -> None:
    row = ask(scene.owner, sealed[1:], **chosen)
    outbox.drain()
    [(name, data)] = pdfs(row).items()
    assert name.endswith(ending)
    assert ("US gpm (typed" in text(data)) == (chosen.get("units") == "us")
    assert ("A copy on" in text(data)) == bool(chosen)
    if not chosen:
        assert data == queries.report_bytes(sealed[1].seal)


def test_checks_are_copied_like_tests(scene: Any) -> None:
    row = ask(scene.owner, [checked(scene)], "checks", paper="letter")
    outbox.drain()
    [data] = pdfs(row).values()
    assert "A copy on Letter" in text(data)


def test_copies_of_its_own_are_kept_by_nobody(scene: Any, sealed: list[Any]) -> None:
    """Neither in place of the report that is kept, nor beside it once they are packed."""
    kept = Report.objects.count()
    row = ask(scene.owner, sealed, paper="letter")
    outbox.drain()
    row.refresh_from_db()
    assert (row.state, row.parts) == ("ready", {})
    assert parts_of(row) == []
    assert Report.objects.count() - kept in (0, len(sealed))  # those that sealing promised
    assert all("A copy on" not in text(queries.report_bytes(t.seal) or b"") for t in sealed)


def test_a_worker_that_is_cut_off_makes_no_copy_twice(
    scene: Any, sealed: list[Any], monkeypatch: Any
) -> None:
    row = ask(scene.owner, sealed, paper="letter")
    real, made = batches.copy_in, []

    def once(record: Any, size: str, units: str) -> bytes:
        if len(made) == 1:
            made.append("cut")
            raise SystemExit
        made.append(str(record.seal.record.key))
        return real(record, size, units)

    monkeypatch.setattr(batches, "copy_in", once)
    monkeypatch.setattr(batches, "SLICE", 600.0)
    with pytest.raises(SystemExit):
        batches.make_batch(str(row.key))
    row.refresh_from_db()
    assert (row.at, len(row.parts)) == (1, 1)
    assert len(parts_of(row)) == 1
    batches.make_batch(str(row.key))
    assert made == [str(sealed[0].key), "cut", str(sealed[1].key)]
    assert len(pdfs(row)) == 2


def test_a_part_that_was_changed_in_the_store_is_named(
    scene: Any, sealed: list[Any], monkeypatch: Any
) -> None:
    row = ask(scene.owner, sealed, paper="letter")
    monkeypatch.setattr(batches, "SLICE", 0.0)
    assert batches.make_batch(str(row.key)) is outbox.MORE
    row.refresh_from_db()
    batch_parts.keep(row, 0, b"%PDF something else")
    while batches.make_batch(str(row.key)) is outbox.MORE:
        pass
    assert len(pdfs(row)) == 1
    assert batches.failures(row)[0][1].startswith("the stored file is not what was made")


def test_a_cancelled_one_leaves_no_copy_behind(
    scene: Any, sealed: list[Any], monkeypatch: Any
) -> None:
    row = ask(scene.owner, sealed, paper="letter")
    monkeypatch.setattr(batches, "SLICE", 0.0)
    batches.make_batch(str(row.key))
    assert len(parts_of(row)) == 1
    batches.cancel(actor=scene.owner, row=row, at=timezone.now())
    batches.make_batch(str(row.key))
    assert parts_of(row) == []


def test_the_clock_clears_what_a_killed_worker_left(
    scene: Any, sealed: list[Any], monkeypatch: Any
) -> None:
    row = ask(scene.owner, sealed, paper="letter")
    monkeypatch.setattr(batches, "SLICE", 0.0)
    batches.make_batch(str(row.key))
    now = timezone.now()
    batches.cancel(actor=scene.owner, row=row, at=now)
    batches.expire(now)
    assert len(parts_of(row)) == 1  # a worker may be at it still
    batches.expire(now + batches.LEASE + timedelta(seconds=1))
    row.refresh_from_db()
    assert (parts_of(row), row.parts) == ([], {})


def test_asked_again_it_is_on_the_same_paper(scene: Any, sealed: list[Any]) -> None:
    row = ask(scene.owner, sealed, paper="letter", units="si")
    batches.cancel(actor=scene.owner, row=row, at=NOW)
    again = batches.ask_again(actor=scene.owner, row=row, at=NOW)
    assert (again.paper, again.units) == ("letter", "si")


def test_other_paper_and_other_units_are_refused(scene: Any, sealed: list[Any]) -> None:
    for chosen, place in (({"paper": "a0"}, "paper"), ({"units": "nautical"}, "units")):
        with pytest.raises(Refused) as refusal:
            ask(scene.owner, sealed, **chosen)
        assert (refusal.value.code, refusal.value.place) == ("not_valid", place)
    row = ask(scene.owner, sealed)
    with pytest.raises(IntegrityError), transaction.atomic():
        Batch._base_manager.filter(pk=row.pk).update(paper="a0")
