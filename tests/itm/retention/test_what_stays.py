"""What stays when a file was let go: seals, lines and digests, held by the database itself."""

from datetime import date, timedelta
from io import BytesIO

import pytest
from django.core.files.storage import default_storage
from django.db import DatabaseError, transaction

from itm.core.errors import NotFound
from itm.records.chain import verify
from itm.registry import attaching
from itm.retention import letting, setting
from itm.retention.letting import carry_out, take_back
from itm.retention.models import DecidedFile, Decision
from itm.retention.verifying import verify_files
from tests.checks import with_report
from tests.deeds import tested
from tests.keeping import NOW, OVER, adopted, decided, on_disk, paper, photographed

pytestmark = pytest.mark.django_db
PLAN = "eu-pfas-plan"


def plan(scene, **options):
    adopted(scene, PLAN)
    return paper(scene, kind="plan", **options)


# The record itself --------------------------------------------------------------------------------


def gone_photo(scene):
    setting.set_own(actor=scene.owner, site=scene.site, kind="test", years=1, why="x", at=NOW)
    photographed(scene, date(2018, 6, 15))
    tested(scene, on=date(2019, 6, 15))
    row = scene.site.attachments.get()
    decided(scene, "test", row)
    carry_out(OVER)
    row.refresh_from_db()
    assert row.let_go
    return row


def test_seals_stay_whole_and_the_file_is_told_as_let_go_and_not_as_lost(scene):
    row = gone_photo(scene)
    assert list(verify()) == []
    [found] = verify_files()
    assert found.kind == "let_go"
    assert found.sentence.startswith("Let go on 1 Dec 2026 by")
    assert row.sha256 in bytes(scene.site.seals.get(number=1).document).decode()


def test_a_paper_of_a_laboratory_goes_without_touching_its_sealed_row(scene):
    check = with_report(scene)
    setting.set_own(actor=scene.owner, site=scene.site, kind="check", years=1, why="x", at=NOW)
    row = check.laboratory_reports.get()
    later = NOW + timedelta(days=800)
    decided(scene, "check", row, at=later)
    carry_out(later + letting.WAITS)
    assert not on_disk(row)
    assert list(verify()) == []
    assert [one.kind for one in verify_files()] == ["let_go"]


def test_a_file_that_is_gone_otherwise_is_lost_and_one_with_other_bytes_altered(scene):
    lost, altered = paper(scene), paper(scene, name="other.pdf")
    default_storage.delete(lost.file.name)
    default_storage.delete(altered.file.name)
    default_storage.save(altered.file.name, BytesIO(b"%PDF other %%EOF"))
    assert {(one.kind, one.place.rsplit(" ", 1)[1]) for one in verify_files()} == {
        ("lost", "plan.pdf"), ("altered", "other.pdf"),
    }  # fmt: skip


def test_a_backup_that_brings_the_file_again_brings_nobody_to_see_it(scene):
    row = gone_photo(scene)
    default_storage.save(row.file.name, BytesIO(b"once more"))
    [found] = verify_files()
    assert found.kind == "let_go"
    assert "The store holds it again" in found.sentence


# The database itself ------------------------------------------------------------------------------


def refused(run):
    with pytest.raises(DatabaseError, match="itm: "), transaction.atomic():
        run()


def test_the_database_takes_no_going_without_a_decision_that_has_waited(scene):
    decision = decided(scene, "plan", plan(scene))
    files = DecidedFile._base_manager.filter(decision=decision)
    early = OVER - timedelta(seconds=1)
    refused(lambda: files.update(gone_at=early))
    kept = decided(scene, "plan", paper(scene, name="b.pdf", kind="plan"), verb="keep",
                   until=date(2030, 1, 1))  # fmt: skip
    refused(lambda: DecidedFile._base_manager.filter(decision=kept).update(gone_at=OVER))
    back = decided(scene, "plan", paper(scene, name="c.pdf", kind="plan"))
    take_back(actor=scene.owner, row=back, at=NOW)
    refused(lambda: DecidedFile._base_manager.filter(decision=back).update(gone_at=OVER))
    files.update(gone_at=OVER)  # this alone


@pytest.mark.parametrize(
    "change",
    [{"reason": "another"}, {"decided_by": "another"}, {"goes_at": NOW}, {"verb": "keep"},
     {"under": "another"}, {"goes_at": None}],
)  # fmt: skip
def test_the_database_takes_no_other_decision_than_was_made(scene, change):
    decision = decided(scene, "plan", plan(scene))
    refused(lambda: Decision._base_manager.filter(pk=decision.pk).update(**change))


def test_the_database_keeps_decisions_files_and_their_lines(scene):
    row = plan(scene)
    decision = decided(scene, "plan", row)
    carry_out(OVER)
    refused(lambda: Decision._base_manager.filter(pk=decision.pk).update(done_at=None))
    refused(lambda: DecidedFile._base_manager.all().update(gone_at=None))
    refused(lambda: DecidedFile._base_manager.all()._raw_delete("default"))
    refused(lambda: type(row)._base_manager.filter(pk=row.pk).update(let_go=""))
    refused(lambda: type(row)._base_manager.filter(pk=row.pk).update(sha256="0" * 64))
    refused(lambda: type(row)._base_manager.filter(pk=row.pk).update(file="attachments/other"))


def test_a_file_withdrawn_may_go_too_and_is_not_shown_again(scene):
    row = plan(scene)
    attaching.withdraw(actor=scene.owner, row=row, why="shows a face", at=NOW)
    decided(scene, "plan", row)
    carry_out(OVER)
    assert not on_disk(row)


def test_a_decision_of_another_owner_is_not_found(scene):
    decision = decided(scene, "plan", plan(scene))
    for other in (scene.contractor, scene.authority):
        with pytest.raises(NotFound):
            letting.decision(other, decision.key)
