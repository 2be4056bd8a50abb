"""What a person decides about files past their period, and what the clock then does."""

import io
from dataclasses import replace
from datetime import date, timedelta
from unittest.mock import patch

import pytest
from django.core.files.storage import default_storage

from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.history import Change
from itm.findings import asking
from itm.records.photographing import take_photo
from itm.retention import letting, setting
from itm.retention.gathering import gather
from itm.retention.letting import carry_out, past, take_back
from itm.retention.models import DecidedFile, Decision
from tests.checks import with_report
from tests.deeds import tested
from tests.factories import actor_of
from tests.itm.registry.pictures import picture
from tests.keeping import NOW, OVER, a_month_later, adopted, decided, on_disk, paper, photographed

pytestmark = pytest.mark.django_db
PLAN = "eu-pfas-plan"


def free(scene, now=NOW):
    return {one.row.name for one, _ in past(scene.site, now.date())}


def plan(scene, **options):
    adopted(scene, PLAN)
    return paper(scene, kind="plan", **options)


# What may be decided about ------------------------------------------------------------------------


def test_without_a_period_nothing_is_ever_past_it(scene):
    photographed(scene)
    paper(scene, kind="plan", on=date(1980, 1, 1))
    assert free(scene) == set()


def test_a_plan_is_kept_for_fifteen_years_and_a_day_more(scene):
    plan(scene, on=date(2011, 10, 31))
    assert past(scene.site, date(2026, 10, 31)) == []
    assert len(past(scene.site, date(2026, 11, 1))) == 1


def test_a_paper_that_nobody_has_named_is_kept(scene):
    adopted(scene, PLAN)
    row = paper(scene)
    assert free(scene) == set()
    assert gather([scene.site])[scene.site.pk].unsaid == [row]


def test_the_photo_of_a_record_is_kept_as_long_as_the_record(scene):
    adopted(scene, "three-years", "one-year-after-the-next")
    photographed(scene, date(2018, 6, 15))
    assert free(scene) == set()  # no next test yet
    tested(scene, on=date(2019, 6, 15))
    assert free(scene) == {"display.jpg"}


def test_of_an_acceptance_test_nothing_goes_while_the_system_stands(scene):
    adopted(scene, "three-years", "one-year-after-the-next", "life-of-the-system")
    photographed(scene, date(2010, 6, 15), purpose="acceptance")
    tested(scene, on=date(2011, 6, 15))
    assert free(scene) == set()


def test_a_file_of_a_record_that_is_still_open_is_held_back(scene):
    setting.set_own(actor=scene.owner, site=scene.site, kind="test", years=1, why="x", at=NOW)
    photographed(scene, date(2018, 6, 15))
    assert free(scene) == {"display.jpg"}
    sealed = scene.site.seals.get().test
    asked = asking.ask(actor=scene.authority, record=sealed, words="Which?", at=NOW)
    assert free(scene) == set()
    asking.close_question(actor=scene.authority, question=asked, at=NOW)
    assert free(scene) == {"display.jpg"}


def test_the_photo_of_a_bottle_is_kept_as_long_as_its_check(scene):
    check = with_report(scene)
    take_photo(
        actor=scene.contractor, of=check.samples.first(), name="bottle.png", taken_at=NOW, at=NOW,
        file=io.BytesIO(picture()),
    )  # fmt: skip
    setting.set_own(actor=scene.owner, site=scene.site, kind="check", years=1, why="x", at=NOW)
    for days, goes in ((300, False), (367, True)):
        later = check.checked_on + timedelta(days)
        assert ("bottle.png" in {one.row.name for one, _ in past(scene.site, later)}) == goes


def test_a_paper_of_a_laboratory_goes_with_its_check(scene):
    check = with_report(scene)
    setting.set_own(actor=scene.owner, site=scene.site, kind="check", years=1, why="x", at=NOW)
    later = check.checked_on + timedelta(days=367)
    assert {one.row for one, _ in past(scene.site, later)} == set(check.laboratory_reports.all())


# Who decides, and what for ------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["contractor", "authority", "member"])
def test_only_a_supervisor_or_manager_of_the_owner_decides(scene, who):
    row = plan(scene)
    actor = actor_of(scene.owner.organisation, "member") if who == "member" else getattr(scene, who)
    with pytest.raises(Forbidden):
        letting.decide(
            actor=actor, site=scene.site, kind="plan", verb="let_go", keys=[row.key],
            reason="x", at=NOW,
        )  # fmt: skip
    assert not Decision.objects.exists()


def test_who_decides_shows_anew_who_it_is(scene):
    row = plan(scene)
    with pytest.raises(Refused) as refused:
        letting.decide(
            actor=replace(scene.owner, proved=False), site=scene.site, kind="plan",
            verb="let_go", keys=[row.key], reason="x", at=NOW,
        )  # fmt: skip
    assert refused.value.code == "proof_needed"


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ({"reason": " "}, "why_missing"),
        ({"keys": []}, "nothing_chosen"),
        ({"verb": "keep"}, "no_day"),
        ({"verb": "keep", "until": NOW.date()}, "day_over"),
        ({"verb": "keep", "until": date(2226, 1, 1)}, "day_too_far"),
        ({"kind": "waste"}, "not_free"),
    ],
)
def test_each_slip_has_its_sentence(scene, options, code):
    row = plan(scene)
    given = {"kind": "plan", "verb": "let_go", "keys": [row.key], "reason": "x"} | options
    with pytest.raises(Refused) as refused:
        letting.decide(actor=scene.owner, site=scene.site, at=NOW, **given)
    assert refused.value.code == code


def test_what_is_not_past_its_period_is_refused(scene):
    row = plan(scene, on=date(2020, 1, 1))
    with pytest.raises(Refused, match="not past its period"):
        decided(scene, "plan", row)


def test_a_file_of_another_site_is_refused_alike(scene):
    plan(scene)
    other = paper(scene, name="other.pdf")
    with pytest.raises(Refused, match="not past its period"):
        decided(scene, "plan", other)


def test_a_file_is_decided_about_once(scene):
    row = plan(scene)
    decided(scene, "plan", row)
    with pytest.raises(Refused, match="decided about it a moment before"):
        decided(scene, "plan", row)


def test_kept_on_it_is_not_asked_about_until_that_day_is_over(scene):
    row = plan(scene)
    decided(scene, "plan", row, verb="keep", until=date(2028, 5, 1))
    assert free(scene) == set()
    assert past(scene.site, date(2028, 5, 1)) == []
    assert len(past(scene.site, date(2028, 5, 2))) == 1
    carry_out(a_month_later(3650))
    assert on_disk(row)


# What the clock does ------------------------------------------------------------------------------


def test_let_go_after_a_month_its_line_stays_and_says_by_whom_and_why(scene):
    row = plan(scene)
    decision = decided(scene, "plan", row)
    carry_out(OVER - timedelta(seconds=1))
    assert on_disk(row)
    carry_out(OVER)
    assert not on_disk(row)
    row.refresh_from_db()
    file = DecidedFile.objects.get()
    assert (file.gone_at, file.sha256, file.size, file.name) == (
        OVER, row.sha256, row.size, "plan.pdf",
    )  # fmt: skip
    assert row.let_go.startswith(f"let go on 1 Dec 2026 by {scene.owner.person} under Regulation")
    decision.refresh_from_db()
    assert decision.done_at == OVER
    verbs = list(
        Change.objects.filter(object_key__in=[row.key, decision.key, file.key])
        .order_by("pk").values_list("model", "verb", "person")
    )  # fmt: skip
    assert verbs[-3:] == [
        ("retention.DecidedFile", "let go", "the system"),
        ("registry.Attachment", "let go", "the system"),
        ("retention.Decision", "carried out", "the system"),
    ]
    assert ("retention.Decision", "decided", scene.owner.person) in verbs


def test_the_small_picture_goes_with_the_photo(scene):
    setting.set_own(actor=scene.owner, site=scene.site, kind="photo", years=1, why="x", at=NOW)
    row = paper(scene, name="a.png", data=picture())
    name = row.preview.name
    assert default_storage.exists(name)
    decided(scene, "photo", row)
    carry_out(OVER)
    assert not default_storage.exists(name)


def test_taken_back_in_time_every_file_stays(scene):
    row = plan(scene)
    decision = decided(scene, "plan", row)
    take_back(actor=scene.owner, row=decision, at=OVER - timedelta(seconds=1))
    carry_out(a_month_later(1))
    assert on_disk(row)
    assert free(scene) == {"plan.pdf"}  # and may be decided about anew


def test_when_the_month_is_over_it_is_too_late(scene):
    decision = decided(scene, "plan", plan(scene))
    for moment in (OVER, a_month_later(1)):
        with pytest.raises(Conflict, match="cannot be brought back"):
            take_back(actor=scene.owner, row=decision, at=moment)
    carry_out(a_month_later(1))
    with pytest.raises(Conflict):
        take_back(actor=scene.owner, row=decision, at=a_month_later(2))


def test_the_clock_may_run_twice(scene):
    decided(scene, "plan", plan(scene))
    carry_out(OVER)
    lines = Change.objects.count()
    carry_out(OVER)
    assert Change.objects.count() == lines


def test_a_longer_period_that_was_set_meanwhile_saves_the_file(scene):
    row = plan(scene)
    decided(scene, "plan", row)
    setting.set_own(actor=scene.owner, site=scene.site, kind="plan", years=40, why="x", at=NOW)
    carry_out(OVER)
    assert on_disk(row)
    file = DecidedFile.objects.get()
    assert file.gone_at is None
    assert "a period that holds now ends later, on 4 Jan 2040" in file.stayed_why


def test_a_question_asked_meanwhile_saves_the_file(scene):
    setting.set_own(actor=scene.owner, site=scene.site, kind="test", years=1, why="x", at=NOW)
    record = photographed(scene, date(2018, 6, 15))
    row = scene.site.attachments.get()
    decided(scene, "test", row)
    asking.ask(actor=scene.authority, record=record, words="Which?", at=NOW)
    carry_out(OVER)
    assert on_disk(row)
    assert DecidedFile.objects.get().stayed_why == "a question on its record is open"


def test_killed_after_the_bytes_went_the_next_run_ends_it(scene):
    """As a process would leave it that is killed before its transaction is committed."""
    row = plan(scene)
    decided(scene, "plan", row)

    class Killed(BaseException):
        pass

    with patch.object(letting, "words", side_effect=Killed), pytest.raises(Killed):
        carry_out(OVER)
    assert not on_disk(row)
    assert Decision.objects.get().done_at is None
    carry_out(OVER)
    row.refresh_from_db()
    assert row.let_go
    assert Decision.objects.get().done_at == OVER


def test_a_store_that_refuses_one_keeps_no_other_from_going(scene):
    first, second = plan(scene), paper(scene, name="other.pdf", kind="plan")
    decided(scene, "plan", first)
    decided(scene, "plan", second)
    whole = default_storage.delete

    def refusing(name):
        if name == first.file.name:
            raise OSError("read-only")
        whole(name)

    with patch.object(letting.default_storage, "delete", refusing):
        carry_out(OVER)
    assert (on_disk(first), on_disk(second)) == (True, False)
    carry_out(OVER)
    assert not on_disk(first)
