"""What records in force show and no deficiency names is opened afterwards, once, and says so."""

import io
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

from django.core.management import call_command

from itm.accounts.actor import system
from itm.actions import restore
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.record_inspection import correct_inspection
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core.history import Change
from itm.findings import deciding
from itm.findings.catching_up import catch_up
from itm.findings.models import Deficiency, Step
from itm.records import bench as benches
from tests.archiving import forgotten
from tests.checks import checked, mixed
from tests.deeds import (
    LOOKED,
    discharged,
    display,
    inspection_of,
    prepared,
    restored,
    tested,
)

LEAN = {"minimum": 2.0, "design": 3.4}
FINE = {"minimum": 3.4, "design": 3.4}
FIRST, NEXT = date(2026, 6, 15), date(2026, 6, 20)
AT = datetime(2026, 7, 1, 9, tzinfo=UTC)


def caught(scene) -> list[Deficiency]:
    return catch_up(actor=system(AT.date(), at=AT), site=scene.site, at=AT).opened


def verbs(row: Deficiency) -> list[str]:
    return list(row.steps.order_by("pk").values_list("verb", flat=True))


def spots() -> list[tuple[str, str, date]]:
    rows = Deficiency.objects.filter(closed_at=None, cause="lean").order_by("pk")
    return [(row.cause, row.spot, row.found_on) for row in rows]


def amended_to(scene, test, percent: float, *, seal: bool = True):
    """A correction of this record that reads this percent at the smallest flow."""
    draft = amend(actor=scene.contractor, key=test.key, reason="bottles swapped", at=AT)
    for bottle in draft.runs.get(flow_point__name="minimum").bottles.all():
        for reading in bottle.readings.filter(set_aside_at=None):
            reading.set_aside_at, reading.set_aside_by = AT, "x"
            reading.set_aside_reason = "another bottle"
            reading.save(by=scene.contractor)
        benches.add_reading(
            actor=scene.contractor, bottle=bottle, temperature_typed="20.0", at=AT,
            value_typed=display(percent, draft.bench.instrument.resolution),
        )  # fmt: skip
    hand_in(actor=scene.contractor, key=draft.key, at=AT + timedelta(hours=2))
    if seal:
        sealed_by(scene, draft)
    return draft


def sealed_by(scene, draft):
    return sign(
        actor=scene.contractor, key=draft.key, at=AT + timedelta(hours=3), name="Somebody",
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip


def test_what_an_old_record_shows_is_opened_as_found_on_its_day_and_says_so(scene):
    test = tested(scene, LEAN)
    forgotten()
    made = {row.spot: row for row in caught(scene) if row.cause == "lean"}
    row = made["minimum"]
    assert (row.test, row.site, row.thing) == (test, scene.site, scene.proportioner)
    assert (row.found_on, row.opened_at, row.opened_by) == (FIRST, AT, "the system")
    assert row.severity == Deficiency.Severity.IMPAIRMENT
    assert row.organisation == scene.contractor.organisation
    assert verbs(row) == ["opened", "noted"]
    assert "Opened afterwards, on 1 Jul 2026" in row.steps.last().words
    for actor in (scene.owner, scene.authority, scene.contractor):
        assert row in Deficiency.objects.visible_to(actor)


def test_a_second_run_changes_nothing_at_all(scene):
    tested(scene, LEAN)
    checked(scene, until="handed_in", top=mixed(0.8), bottom=mixed(0.8))
    forgotten()
    assert len(caught(scene)) >= 2
    before = (Deficiency.objects.count(), Step.objects.count(), Change.objects.count())
    assert caught(scene) == []
    after = (Deficiency.objects.count(), Step.objects.count(), Change.objects.count())
    assert after == before


def test_where_deficiencies_are_kept_there_is_nothing_to_do(scene):
    tested(scene, LEAN)
    tested(scene, FINE, on=NEXT)
    row = Deficiency.objects.get(cause="lean")
    [chosen] = deciding.against(row)
    deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=AT)
    steps = Step.objects.count()
    assert caught(scene) == []
    assert Step.objects.count() == steps


def test_what_a_later_sealed_record_found_right_is_not_opened(scene):
    tested(scene, LEAN)
    tested(scene, FINE, on=NEXT)
    forgotten()
    assert caught(scene) == []


def test_a_later_record_without_a_seal_only_proposes(scene):
    tested(scene, LEAN)
    tested(scene, FINE, on=NEXT, until="handed_in")
    forgotten()
    [row] = caught(scene)
    assert verbs(row) == ["opened", "noted", "proposed"]


def test_what_showed_again_after_a_fix_counts_from_then(scene):
    tested(scene, LEAN)
    tested(scene, FINE, on=NEXT)
    tested(scene, LEAN, on=NEXT + timedelta(days=5))
    tested(scene, LEAN, on=NEXT + timedelta(days=9))
    forgotten()
    [row] = [one for one in caught(scene) if one.cause == "lean"]
    assert row.found_on == NEXT + timedelta(days=5)
    assert verbs(row) == ["opened", "noted", "found_again"]


def test_an_older_record_of_the_same_spot_is_noted_in_the_one_that_is_open(scene):
    tested(scene, LEAN)
    forgotten()
    later = tested(scene, LEAN, on=NEXT)
    retest = tested(scene, FINE, on=NEXT + timedelta(days=5), until="handed_in")
    assert caught(scene) == []
    row = Deficiency.objects.get(cause="lean")
    assert (row.test, verbs(row)) == (later, ["opened", "proposed", "noted"])
    assert "showed on 15 Jun 2026 already" in row.steps.last().words
    # And it does not stand in the way of the fix.
    sealed_by(scene, retest)
    [chosen] = deciding.against(row)
    assert chosen.ready
    steps = Step.objects.count()
    caught(scene)
    assert Step.objects.count() == steps


def test_what_went_back_or_was_corrected_is_no_record_in_force(scene):
    back = tested(scene, LEAN, until="handed_in")
    send_back(actor=scene.owner, key=back.key, reason="which water?", at=AT)
    wrong = tested(scene, LEAN, on=NEXT)
    amended_to(scene, wrong, 3.4)
    forgotten()
    assert caught(scene) == []


def test_a_fix_that_is_corrected_away_opens_what_was_closed_against_it(scene):
    first = tested(scene, LEAN)
    retest = tested(scene, FINE, on=NEXT)
    row = Deficiency.objects.get(cause="lean")
    [chosen] = deciding.against(row)
    deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=AT)
    draft = amended_to(scene, retest, 3.0, seal=False)  # on the limit, so undecided
    assert spots() == []
    sealed_by(scene, draft)
    [again] = Deficiency.objects.filter(closed_at=None, cause="lean")
    assert (again.test, again.found_on) == (first, FIRST)
    assert "it was closed against was corrected" in again.steps.last().words
    row.refresh_from_db()
    assert row.outcome == "fixed"  # what a person did stays as it was


def test_a_thinned_tank_is_opened_until_a_later_sealed_check_shows_it_right(scene):
    checked(scene, until="handed_in", top=mixed(0.8), bottom=mixed(0.8))
    forgotten()
    row = next(one for one in caught(scene) if one.spot == "strength")
    assert (row.tank, row.found_on) == (scene.tank, FIRST)
    checked(scene, on=date(2026, 6, 25))
    forgotten()
    assert caught(scene) == []


def test_a_task_found_out_of_order_is_opened_unless_it_was_in_order_later(scene):
    inspection_of(scene, FIRST, fit="no")
    forgotten()
    [row] = caught(scene)
    assert (row.cause, row.tank, row.found_on) == ("inspection", scene.tank, FIRST)
    assert caught(scene) == []
    inspection_of(scene, NEXT)
    forgotten()
    assert caught(scene) == []


def test_an_inspection_that_was_corrected_opens_nothing(scene):
    made = inspection_of(scene, FIRST, fit="no")
    correct_inspection(
        actor=scene.contractor, line=made.lines.get(), at=AT, once=uuid4(), why="wrong tank",
        entered=LOOKED, possible=True,
    )  # fmt: skip
    forgotten()
    assert caught(scene) == []


def test_a_round_in_order_that_is_corrected_opens_what_was_closed_against_it(scene):
    inspection_of(scene, FIRST, fit="no")
    second = inspection_of(scene, NEXT)
    row = Deficiency.objects.get()
    [chosen] = deciding.against(row)
    deciding.close(actor=scene.owner, deficiency=row, step=chosen.step, at=AT)
    correct_inspection(
        actor=scene.contractor, line=second.lines.get(), at=AT, once=uuid4(),
        why="nobody went there", entered={}, possible=False,
    )  # fmt: skip
    assert Deficiency.objects.get(closed_at=None).inspection_line == row.inspection_line


def test_a_line_left_out_is_opened_with_who_was_told_until_it_is_put_back(scene):
    day = discharged(prepared(scene))
    line = day.test.visit.restoration_lines.order_by("position").first()
    left = restore.end_line(
        actor=day.actor, line=line, outcome="left_out", at=day.tick(), reason="seat is worn",
        handed_to="Duty engineer", handed_at=day.now,
    )  # fmt: skip
    forgotten()
    [row] = caught(scene)
    assert (row.cause, row.severity, row.found_on) == ("left_out", 1, FIRST)
    assert verbs(row) == ["opened", "told", "noted"]
    assert caught(scene) == []
    restore.put_back(actor=day.actor, line=left, at=day.tick())
    forgotten()
    assert caught(scene) == []


def test_a_line_that_a_later_day_restored_is_not_opened(scene):
    day = discharged(prepared(scene))
    line = day.test.visit.restoration_lines.order_by("position").first()
    restore.end_line(
        actor=day.actor, line=line, outcome="left_out", at=day.tick(), reason="seat is worn",
        handed_to="Duty engineer", handed_at=day.now,
    )  # fmt: skip
    restored(day)
    restored(discharged(prepared(scene, on=NEXT)))
    forgotten()
    assert caught(scene) == []


def test_what_is_retired_opens_nothing(scene):
    tested(scene, LEAN)
    forgotten()
    scene.proportioner.retired_on = NEXT
    scene.proportioner.save(by=scene.owner)
    assert caught(scene) == []


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("open_deficiencies", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_tells_by_site_and_looks_without_opening(scene):
    tested(scene, LEAN)
    forgotten()
    looked_at = run("--look")
    assert f"{scene.site} of {scene.site.owner}: would open 1" in looked_at
    assert not Deficiency.objects.exists()
    said = run()
    assert f"{scene.site} of {scene.site.owner}: opened 1" in said
    assert "Impairment, 2026-06-15: Lean at minimum" in said
    assert "1 sites looked through, 0 deficiencies opened." in run()
