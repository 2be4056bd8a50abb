"""Rows of the schedule follow the history, keep theirs, and are written only when they differ."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from itm.core.models import Change
from itm.schedule.due import Result
from itm.schedule.models import Duty, Requirement
from itm.schedule.services import refresh, start_duties
from tests.factories import FoamSystemFactory, ProportionerFactory, TankFactory

COMMISSIONED = date(2018, 3, 1)  # of the scene's system


def result(on: date, limits="in band", certainty="settled", phase="as_found", key=None) -> Result:
    return Result(on, limits, certainty, "periodic", phase, key or uuid4())


@pytest.fixture
def device(scene):
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    return scene.proportioner


def rows(device, cause: str = "periodic") -> list[tuple]:
    found = Duty.objects.filter(proportioner=device, cause=cause, withdrawn_on=None)
    return list(found.order_by("counts_from").values_list("counts_from", "done_on"))


def test_installation_starts_with_two_requirements_that_name_their_source(db):
    everywhere = Requirement.objects.filter(programme__everywhere=True)
    for requirement in everywhere:
        assert "NFPA 25" in requirement.source
        assert requirement.edition
        assert requirement.confidence == "looked up, second-hand"
    assert set(everywhere.values_list("task", flat=True)) == {
        "proportioning_test",
        "concentrate_check",
    }


def test_commissioning_starts_the_test_and_the_check(scene):
    start_duties(actor=scene.owner, proportioner=scene.proportioner, tank=scene.tank)
    assert {(d.requirement.task, d.counts_from, d.site) for d in Duty.objects.all()} == {
        ("proportioning_test", COMMISSIONED, scene.site),
        ("concentrate_check", COMMISSIONED, scene.site),
    }


def test_starting_twice_changes_nothing(scene, device):
    before = Change.objects.count()
    start_duties(actor=scene.owner, proportioner=device)
    assert Change.objects.count() == before


def test_a_tank_counts_from_the_first_system_it_feeds(scene):
    older = FoamSystemFactory(site=scene.site, commissioned_on=date(2011, 5, 31))
    ProportionerFactory(system=older, tank=scene.tank)
    start_duties(actor=scene.owner, tank=scene.tank)
    assert Duty.objects.get(tank=scene.tank).counts_from == date(2011, 5, 31)


def test_a_tank_that_feeds_nothing_has_no_duty_yet(scene):
    start_duties(actor=scene.owner, tank=TankFactory(site=scene.site))
    assert not Duty.objects.exists()


def test_older_papers_move_the_first_cycle_of_device_and_tank(scene):
    scene.proportioner.earlier_test_on = date(2025, 9, 1)
    scene.proportioner.save(by=scene.owner)
    scene.tank.earlier_check_on = date(2025, 10, 1)
    scene.tank.save(by=scene.owner)
    start_duties(actor=scene.owner, proportioner=scene.proportioner, tank=scene.tank)
    assert rows(scene.proportioner) == [(date(2025, 9, 1), None)]
    assert Duty.objects.get(tank=scene.tank).due_on == date(2026, 10, 1)


def test_papers_older_than_the_commissioning_move_nothing(scene):
    scene.tank.earlier_check_on = date(2010, 1, 1)
    scene.tank.save(by=scene.owner)
    start_duties(actor=scene.owner, tank=scene.tank)
    assert Duty.objects.get(tank=scene.tank).counts_from == COMMISSIONED


def test_a_corrected_commissioning_day_moves_the_first_cycle(scene, device):
    device.system.commissioned_on = date(2019, 2, 28)
    start_duties(actor=scene.owner, proportioner=device)
    assert rows(device) == [(date(2019, 2, 28), None)]


def test_a_corrected_commissioning_day_leaves_a_tested_device_to_its_records(scene, device):
    refresh(actor=scene.owner, proportioner=device, results=[result(date(2019, 3, 1))])
    device.system.commissioned_on = date(2018, 4, 1)
    start_duties(actor=scene.owner, proportioner=device)
    assert rows(device)[0] == (COMMISSIONED, date(2019, 3, 1))


def test_a_sealed_test_closes_the_cycle_and_opens_the_next(scene, device):
    tested = result(date(2019, 3, 4))
    refresh(actor=scene.contractor, proportioner=device, results=[tested])
    assert rows(device) == [(COMMISSIONED, tested.tested_on), (tested.tested_on, None)]
    done = Duty.objects.get(proportioner=device, done_on=tested.tested_on)
    assert done.done_by_record == tested.key
    line = Change.objects.filter(object_key=done.key).last()
    assert line.person == scene.contractor.person
    assert line.after == {"done_on": "2019-03-04", "done_by_record": str(tested.key)}


def test_refreshing_twice_writes_nothing_the_second_time(scene, device):
    history = [
        result(date(2019, 3, 4), "lean"),
        result(date(2019, 3, 4), "rich", phase="as_left"),
        result(date(2019, 4, 1)),
    ]
    refresh(actor=scene.owner, proportioner=device, results=history)
    before, kept = Change.objects.count(), sorted(Duty.objects.values_list("key", flat=True))
    refresh(actor=scene.owner, proportioner=device, results=history)
    assert Change.objects.count() == before
    assert sorted(Duty.objects.values_list("key", flat=True)) == kept


def test_a_bad_result_opens_a_retest_and_the_next_test_ends_it(scene, device):
    history = [result(date(2019, 3, 4), "lean")]
    refresh(actor=scene.owner, proportioner=device, results=history)
    assert rows(device, "retest") == [(date(2019, 3, 4), None)]
    history.append(result(date(2019, 3, 20)))
    refresh(actor=scene.owner, proportioner=device, results=history)
    assert rows(device, "retest") == [(date(2019, 3, 4), date(2019, 3, 20))]
    assert rows(device)[-1] == (date(2019, 3, 4), None)


def test_a_missed_cycle_stays_after_the_next_one_is_done(scene, device):
    history = [result(date(2020, 9, 1)), result(date(2021, 9, 1))]
    refresh(actor=scene.owner, proportioner=device, results=history)
    late = Duty.objects.get(proportioner=device, done_on=date(2020, 9, 1))
    assert late.done_on > late.latest_on
    assert len(rows(device)) == 3


def test_an_amended_verdict_withdraws_the_retest_and_keeps_its_row(scene, device):
    key = uuid4()
    refresh(
        actor=scene.owner, proportioner=device, results=[result(date(2019, 3, 4), "rich", key=key)]
    )
    retest = Duty.objects.get(proportioner=device, cause="retest")
    refresh(actor=scene.owner, proportioner=device, results=[result(date(2019, 3, 4))])
    retest.refresh_from_db()
    assert retest.withdrawn_on == scene.owner.today
    assert Change.objects.filter(object_key=retest.key).last().verb == "withdrawn"
    assert rows(device, "retest") == []
    refresh(actor=scene.owner, proportioner=device, results=[result(date(2019, 3, 4), "rich")])
    assert rows(device, "retest") == [(date(2019, 3, 4), None)]


def test_an_amended_day_moves_the_cycles_and_keeps_their_keys(scene, device):
    refresh(actor=scene.owner, proportioner=device, results=[result(date(2019, 3, 4))])
    keys = sorted(Duty.objects.values_list("key", flat=True))
    refresh(actor=scene.owner, proportioner=device, results=[result(date(2019, 3, 5))])
    assert rows(device) == [(COMMISSIONED, date(2019, 3, 5)), (date(2019, 3, 5), None)]
    assert sorted(Duty.objects.values_list("key", flat=True)) == keys


def test_a_backdated_record_splits_the_cycle_it_falls_into(scene, device):
    late = result(date(2020, 6, 1))
    refresh(actor=scene.owner, proportioner=device, results=[late])
    backdated = result(date(2019, 3, 1))
    refresh(actor=scene.owner, proportioner=device, results=[late, backdated])
    assert rows(device) == [
        (COMMISSIONED, date(2019, 3, 1)),
        (date(2019, 3, 1), date(2020, 6, 1)),
        (date(2020, 6, 1), None),
    ]


def test_a_record_that_is_taken_back_reopens_its_cycle(scene, device):
    first, second = result(date(2019, 3, 1)), result(date(2020, 3, 1))
    refresh(actor=scene.owner, proportioner=device, results=[first, second])
    refresh(actor=scene.owner, proportioner=device, results=[])
    assert rows(device) == [(COMMISSIONED, None)]
    assert Duty.objects.filter(proportioner=device).exclude(withdrawn_on=None).count() == 2


def test_a_device_has_one_open_cycle_of_a_kind(scene, device):
    first = Duty.objects.get(proportioner=device)
    with pytest.raises(IntegrityError), transaction.atomic():
        Duty.objects.create(
            by=scene.owner, site=first.site, requirement=first.requirement, proportioner=device,
            counts_from=first.counts_from, window_opens_on=first.window_opens_on,
            due_on=first.due_on, latest_on=first.latest_on,
        )  # fmt: skip
