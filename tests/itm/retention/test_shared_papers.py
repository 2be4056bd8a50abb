"""A check that corrects another names the same paper of a laboratory: it goes for both or stays."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.findings import asking
from itm.records.models import ConcentrateCheck, LaboratoryReport
from itm.retention import letting, setting
from itm.retention.letting import gone_names, past
from itm.retention.models import DecidedFile
from itm.retention.verifying import verify_files
from tests.checks import at, begun, sealed, with_report
from tests.keeping import NOW, decided, on_disk


@pytest.fixture
def later(scene):
    """Long after the period of a year that the owner set."""
    setting.set_own(actor=scene.owner, site=scene.site, kind="check", years=1, why="x", at=NOW)
    return datetime(2028, 1, 10, 12, tzinfo=UTC)


def corrected(scene, check, *, signed: bool = True) -> ConcentrateCheck:
    on = check.checked_on + timedelta(days=31)
    draft = amend(actor=scene.contractor, key=check.key, reason="pH was read twice", at=at(on, 19))
    if signed:
        hand_in(actor=scene.contractor, key=draft.key, at=at(on, 20))
        sealed(ConcentrateCheck.objects.get(pk=draft.pk), scene.contractor)
    return ConcentrateCheck.objects.get(pk=draft.pk)


def carried_out(row):
    letting.carry_out(row.goes_at + timedelta(hours=1))


def kinds():
    return [found.kind for found in verify_files()]


def test_it_is_listed_once_and_goes_for_both(scene, later):
    first = with_report(scene)
    second = corrected(scene, first)
    [(one, _)] = past(scene.site, later.date())
    assert {row.concentrate_check for row in one.rows} == {first, second}
    row = decided(scene, "check", one.row, at=later)
    assert row.files.count() == 2
    assert past(scene.site, later.date()) == []
    carried_out(row)
    assert not any(on_disk(paper) for paper in LaboratoryReport.objects.all())
    assert kinds() == ["let_go", "let_go"]
    assert gone_names(scene.site) == {one.row.file.name}


def test_a_question_on_the_correction_holds_the_paper_of_both(scene, later):
    check = corrected(scene, with_report(scene))
    asking.ask(actor=scene.authority, record=check, words="Which bottle?", at=timezone.now())
    assert past(scene.site, later.date()) == []


def test_a_correction_that_is_under_way_holds_it(scene, later):
    draft = corrected(scene, with_report(scene), signed=False)
    assert past(scene.site, later.date()) == []
    abandon(actor=scene.contractor, key=draft.key, reason="not needed", at=at(hour=21))
    [(one, _)] = past(scene.site, later.date())
    row = decided(scene, "check", one.row, at=later)
    carried_out(row)
    assert kinds() == ["let_go", "let_go"]  # of the draft that was given up, too


def test_what_was_decided_before_it_was_corrected_is_not_done(scene, later):
    check = with_report(scene)
    [(one, _)] = past(scene.site, later.date())
    row = decided(scene, "check", one.row, at=later)
    corrected(scene, check)
    carried_out(row)
    assert on_disk(one.row)
    assert DecidedFile.objects.get().stayed_why == (
        "a record that nobody decided about names it since"
    )
    assert kinds() == []
    [(again, _)] = past(scene.site, later.date())
    assert len(again.rows) == 2


def test_an_archive_says_nothing_is_gone_while_a_row_names_it(scene, later):
    with_report(scene)
    [(one, _)] = past(scene.site, later.date())
    row = decided(scene, "check", one.row, at=later)
    carried_out(row)
    assert gone_names(scene.site) == {one.row.file.name}
    draft = begun(scene)
    values = LaboratoryReport.objects.filter(pk=one.row.pk).values()[0]
    other = {"id": None, "key": row.key, "concentrate_check_id": draft.pk}
    LaboratoryReport(**{**values, **other}).save(by=scene.contractor)
    assert gone_names(scene.site) == set()
