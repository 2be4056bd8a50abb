"""A flow point that was left out at Prepare, run after all where there is no signal."""

from datetime import date
from decimal import Decimal

import pytest

from itm.doors.day import day_of
from itm.records import preparing, services
from itm.records.models import FlowRun, ProportioningTest
from itm.registry.services import change_system
from tests.deeds import prepared, tested
from tests.direct_deeds import direct_day
from tests.doors.phone import MORNING


@pytest.fixture
def short(scene) -> ProportioningTest:
    """Prepared with the minimum flow alone."""
    visit = services.plan_visit(
        actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15)
    )
    bench = preparing.open_bench(
        actor=scene.contractor, visit=visit, tank=scene.tank, instrument=scene.instrument,
        water_source="hydrant at the rack", glassware="10 mL pipette, 200 mL flask",
    )  # fmt: skip
    return preparing.prepare_test(
        actor=scene.contractor, visit=visit, proportioner=scene.proportioner, bench=bench,
        at=MORNING, purpose="periodic",
        flow_points=list(scene.proportioner.flow_points.order_by("flow"))[:1],
    )  # fmt: skip


def told(phone, test) -> dict:
    [found] = day_of(phone.actor, test.visit.key)["tests"]
    return found


def test_what_is_measured_at_it_hangs_on_a_key_that_the_day_told(phone, short):
    [left] = told(phone, short)["points_left"]
    assert (left["name"], left["band"], left["measured"]) == ("design", None, None)
    phone.note(
        "start_test_day", {"visit": short.visit.key}, {"reason": "test", "coordinator": "the owner"}
    )
    phone.note("add_run", {"test": short.key}, {"flow_point": left["flow_point"]})
    run = {"run": left["run"]}
    phone.note("note_run", run, {"solution_flow": "1000 L/min", "flow_source": "meter"})
    phone.note("foam_seen", run)
    bottle = phone.note("add_sample", run, {"label": "design 1"})
    answers = phone.send()
    assert [answer.state for answer in answers] == ["taken"] * 5, answers
    row = FlowRun.objects.get(key=left["run"])
    assert (row.flow_point.name, row.solution_flow_typed) == ("design", "1000 L/min")
    assert str(row.bottles.get().key) == bottle["key"]
    now = told(phone, short)
    assert [one["name"] for one in now["runs"]] == ["minimum", "design"]
    assert now["points_left"] == []


def test_added_on_its_page_meanwhile_it_is_the_same_run(scene, phone, short):
    [left] = told(phone, short)["points_left"]
    point = scene.proportioner.flow_points.get(key=left["flow_point"])
    made = preparing.add_run(actor=scene.contractor, test=short, flow_point=point)
    assert str(made.key) == left["run"]
    phone.note("add_run", {"test": short.key}, {"flow_point": left["flow_point"]})
    phone.note("note_run", {"run": left["run"]}, {"inlet_pressure": "7.5 bar"})
    assert all(answer.taken for answer in phone.send())
    assert short.runs.count() == 2


def test_what_cannot_be_run_is_not_offered(scene, phone, short):
    """Retired, of a record that is closed, or not found where its criterion compares it."""
    point = scene.proportioner.flow_points.get(name="design")
    point.retired_on = date(2026, 6, 1)
    point.save(by=scene.owner)
    assert told(phone, short)["points_left"] == []
    answer = phone.say("add_run", {"test": short.key}, {"flow_point": str(point.key)})
    assert answer.state == "not_found"


def test_a_direct_test_brings_what_is_to_be_read_there(scene, phone):
    test = direct_day(scene, "draw_down").test
    run = test.runs.order_by("pk").last()
    points = list(scene.proportioner.flow_points.all())
    assert len(points) == test.runs.count()
    [whole] = day_of(phone.actor, test.visit.key)["direct_tests"]
    assert whole["points_left"] == []
    fresh = scene.proportioner.flow_points.create(
        by=scene.owner, name="between", flow=0.012, flow_typed="720 L/min"
    )
    [whole] = day_of(phone.actor, test.visit.key)["direct_tests"]
    [left] = whole["points_left"]
    assert left["flow_point"] == str(fresh.key)
    assert left["measured"].keys() == whole["measured"][str(run.key)].keys()
    assert phone.say("add_run", {"test": test.key}, {"flow_point": left["flow_point"]}).taken
    assert phone.say("note_measured", {"run": left["run"]}, {"duration": "2:30"}).taken
    [whole] = day_of(phone.actor, test.visit.key)["direct_tests"]
    assert whole["measured"][left["run"]]["duration"] == "2:30"


def test_where_each_is_compared_the_limits_told_are_those_that_it_gets(scene, phone):
    """With its acceptance test: check-values G-03, G-08, as tests/itm/records/test_baseline.py."""
    scene.instrument.repeatability = Decimal("0.00001")
    scene.instrument.save(by=scene.contractor)
    tested(scene, {"minimum": 3.2, "design": 3.5}, on=date(2025, 6, 15), purpose="acceptance")
    change_system(actor=scene.owner, system=scene.system, criterion="baseline")
    scene.proportioner.refresh_from_db()
    minimum = scene.proportioner.flow_points.get(name="minimum")
    test = prepared(scene, flow_points=[minimum]).test
    [left] = told(phone, test)["points_left"]
    assert phone.say("add_run", {"test": test.key}, {"flow_point": left["flow_point"]}).taken
    [run] = [one for one in told(phone, test)["runs"] if one["name"] == "design"]
    assert left["band"] is not None
    assert left["band"] == run["band"]
    scene.proportioner.flow_points.create(
        by=scene.owner, name="between", flow=0.012, flow_typed="720 L/min"
    )
    assert told(phone, test)["points_left"] == []  # no acceptance test to compare it with
