"""Rounds of inspection: they complete duties, are never changed, and are corrected beside."""

from datetime import UTC, date, datetime
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction

from itm.actions.adopt import adopt
from itm.actions.record_inspection import correct_inspection, record_inspection
from itm.core.errors import Forbidden, Refused
from itm.records.duties import derive_site
from itm.records.inspecting import Entry
from itm.records.models import Inspection, InspectionLine
from itm.schedule.models import Duty, Programme
from itm.schedule.services import start_duties
from tests.factories import OrganisationFactory, actor_of

FROM = date(2026, 6, 1)
NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
LOOKED = {"level": "95", "valves": "yes", "gauges": "yes", "gauge_readings": "7.5 bar"}


@pytest.fixture
def duty(scene) -> Duty:
    """The monthly look at the proportioner; adopted in May, so that June is open."""
    adopt(
        actor=scene.owner, programme=Programme.objects.get(code="us-nfpa25-foam-water"),
        starts_on=date(2026, 5, 20), site=scene.site,
    )  # fmt: skip
    return Duty.objects.get(requirement__code="N25-04")


def look(scene, duty, *, on=date(2026, 6, 10), by="contractor", once=None, **entry) -> Inspection:
    return record_inspection(
        actor=getattr(scene, by), site=scene.site, done_on=on, at=NOW, once=once or uuid4(),
        entries=[Entry(duty, **{"entered": LOOKED, **entry})],
    )  # fmt: skip


@pytest.mark.parametrize("by", ["owner", "contractor"])
def test_a_look_completes_the_duty_and_opens_the_next_month(scene, duty, by):
    made = look(scene, duty, by=by)
    duty.refresh_from_db()
    assert (duty.done_on, duty.done_by_record) == (date(2026, 6, 10), made.key)
    following = Duty.objects.get(requirement__code="N25-04", done_on=None)
    assert (following.window_opens_on, following.latest_on) == (date(2026, 7, 1), date(2026, 7, 31))
    line = made.lines.get()
    assert (line.outcome, line.words) == ("in_order", duty.requirement.words)
    assert made.person == getattr(scene, by).person


def test_what_is_not_in_order_is_a_fault_and_completes_it_all_the_same(scene, duty):
    line = look(scene, duty, entered={**LOOKED, "valves": "no"}).lines.get()
    assert line.outcome == "fault"
    duty.refresh_from_db()
    assert duty.done_on is not None


def test_another_thing_wrong_is_a_fault_too(scene, duty):
    assert look(scene, duty, broken=True, note="sign is missing").lines.get().outcome == "fault"


def test_not_possible_today_stays_due_with_its_reason(scene, duty):
    line = look(scene, duty, entered={}, reason="plant is shut").lines.get()
    assert (line.outcome, line.reason) == ("not_possible", "plant is shut")
    duty.refresh_from_db()
    assert duty.done_on is None


@pytest.mark.parametrize(
    ("entry", "on", "sentence"),
    [
        ({"reason": "shut"}, date(2026, 6, 10), "Either it was done"),
        ({"entered": {**LOOKED, "level": ""}}, date(2026, 6, 10), "is not answered"),
        ({"entered": {}}, date(2026, 6, 10), "Nothing is entered yet"),
        ({}, date(2026, 6, 16), "has not come yet"),
        ({}, date(2018, 2, 28), "in service since 1 Mar 2018"),
    ],
)
def test_a_round_that_cannot_be_is_refused_whole(scene, duty, entry, on, sentence):
    with pytest.raises(Refused, match=sentence):
        look(scene, duty, on=on, **entry)
    assert not Inspection.objects.exists()


def test_the_same_deed_twice_is_one_record(scene, duty):
    once = uuid4()
    assert look(scene, duty, once=once) == look(scene, duty, once=once)
    assert Inspection.objects.count() == 1


def test_strangers_and_authorities_do_not_inspect(scene, duty):
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    for actor in (scene.authority, stranger):
        with pytest.raises(Forbidden):
            record_inspection(
                actor=actor, site=scene.site, done_on=FROM, at=NOW, once=uuid4(),
                entries=[Entry(duty, LOOKED)],
            )  # fmt: skip


@pytest.mark.parametrize("record", ["proportioning test", "concentrate check"])
def test_a_test_and_a_check_are_completed_by_their_own_record(scene, duty, record):
    other = Duty.objects.get(requirement__task=record.replace(" ", "_"), done_on=None)
    with pytest.raises(Refused, match=f"only the seal of a {record}"):
        look(scene, other, entered={"x": "y"})
    other.refresh_from_db()
    assert other.done_on is None


def older_line(scene, **values) -> InspectionLine:
    """What an inspection said of a check when a form still completed it."""
    start_duties(actor=scene.owner, tank=scene.tank)
    check = Duty.objects.get(
        tank=scene.tank, done_on=None, requirement__code="annual-concentrate-check"
    )
    made = Inspection(
        site=scene.site, organisation=scene.contractor.organisation, person="Somebody",
        done_on=date(2026, 6, 10), entered_at=NOW, once=uuid4(),
    )  # fmt: skip
    made.save(by=scene.contractor)
    line = InspectionLine(
        inspection=made, requirement=check.requirement, tank=scene.tank, words="Sample", place="T",
        source="S", **values,
    )  # fmt: skip
    line.save(by=scene.contractor)
    derive_site(actor=scene.owner, site=scene.site)
    return line


def test_a_check_that_an_older_inspection_completed_stays_completed(scene):
    line = older_line(scene, outcome="in_order")
    done = Duty.objects.get(requirement=line.requirement, done_on__isnull=False)
    assert (done.done_on, done.done_by_record) == (date(2026, 6, 10), line.inspection.key)


def test_no_correction_makes_a_check_to_have_been_done(scene):
    line = older_line(scene, outcome="not_possible", reason="laboratory is closed")
    with pytest.raises(Refused, match="only the seal of a concentrate check"):
        correct_inspection(
            actor=scene.contractor, line=line, at=NOW, once=uuid4(), why="it was open",
            entered={"fit": "yes"}, possible=True,
        )  # fmt: skip
    assert not Duty.objects.filter(requirement=line.requirement, done_on__isnull=False).exists()


def test_a_backdated_round_counts_on_its_day(scene, duty):
    """Pitfalls, part D: records that arrive in the wrong order count in the order of the work."""
    look(scene, duty, on=date(2026, 6, 14))
    following = Duty.objects.get(requirement__code="N25-04", done_on=None)
    look(scene, following, on=date(2026, 6, 2))
    done = Duty.objects.get(requirement__code="N25-04", done_on__isnull=False)
    assert done.done_on == date(2026, 6, 2)


# Kept for good ----------------------------------------------------------------------------------


def test_the_database_refuses_to_change_or_delete_a_record(scene, duty):
    made = look(scene, duty)
    for model, column in ((Inspection, "note"), (InspectionLine, "outcome")):
        for deed in (
            lambda rows, column=column: rows.update(**{column: "fault"}),
            lambda rows, column=column: rows._raw_delete("default"),
        ):
            with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
                deed(model._base_manager.filter(pk__gt=0))
    assert made.lines.get().outcome == "in_order"


def test_a_correction_stands_beside_the_wrong_line_and_moves_the_duty(scene, duty):
    line = look(scene, duty).lines.get()
    with pytest.raises(Refused, match="Say why"):
        correct(scene, line, why=" ")
    correct(scene, line, why="wrong device was looked at", possible=False)
    duty.refresh_from_db()
    assert duty.done_on is None
    line.refresh_from_db()
    assert line.outcome == "in_order"
    assert line.corrected_by.outcome == "not_possible"
    with pytest.raises(Refused, match="corrected already"):
        correct(scene, line, why="again")


def correct(scene, line, *, by="contractor", **values):
    return correct_inspection(
        actor=getattr(scene, by), line=line, at=NOW, once=uuid4(),
        **{"why": "slip", "entered": LOOKED, "possible": True, **values},
    )  # fmt: skip


def test_only_who_recorded_it_corrects_it(scene, duty):
    line = look(scene, duty).lines.get()
    with pytest.raises(Forbidden, match="who recorded it"):
        correct(scene, line, by="owner")
