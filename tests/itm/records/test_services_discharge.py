"""Discharge, samples, stop and flush, restoration and the impairment."""

from datetime import UTC, datetime, timedelta

import pytest

from itm.actions.start_test_day import start_test_day
from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.history import Change
from itm.core.quantities import Quantity
from itm.records import queries
from itm.records.discharge import (
    add_sample,
    bring_back_sample,
    flush_done,
    flush_undone,
    foam_seen,
    note_run,
    take_back_foam,
    withdraw_sample,
)
from itm.records.merge import Crossed
from itm.records.models import Reading, Visit
from itm.records.restoration import end_line, put_back, reopen_line
from tests.factories import actor_of
from tests.itm.records.test_services import AT, prepared

SECOND = timedelta(seconds=1)


@pytest.fixture
def begun(scene):
    """A prepared test whose day has begun."""
    test = prepared(scene)
    start_test_day(
        actor=scene.contractor, key=test.visit.key, reason="Annual test", coordinator="Owner",
        at=AT,
    )  # fmt: skip
    return queries.test(scene.contractor, test.key)


def hand_in(scene, test):
    test.state, test.limits, test.certainty = "handed_in", "in band", "settled"
    test.handed_in_at = AT
    test.save(by=scene.contractor)


def refused(code, deed, **values):
    with pytest.raises(Refused) as refusal:
        deed(**values)
    assert refusal.value.code == code


def end_all(scene, test, **last):
    lines = list(test.visit.restoration_lines.all())
    for line in lines[:-1]:
        end_line(actor=scene.contractor, line=line, outcome="restored", at=AT)
    values = {"outcome": "restored", "at": AT, **last}
    return end_line(actor=scene.contractor, line=lines[-1], **values)


def test_run_keeps_what_was_typed_beside_si(scene, begun):
    run = begun.runs.first()
    row = note_run(
        actor=scene.contractor, run=run, inlet_pressure=Quantity(7.2e5, "7,2 bar"),
        solution_flow=Quantity(0.01, "600 L/min"), flow_source="meter",
    )  # fmt: skip
    assert (row.inlet_pressure, row.inlet_pressure_typed) == (7.2e5, "7,2 bar")
    act = {"actor": scene.contractor, "run": run}
    refused("flow_not_positive", note_run, **act, solution_flow=Quantity(0, "0 L/min"))
    refused("negative_pressure", note_run, **act, inlet_pressure=Quantity(-1e5, "-1 bar"))
    refused("negative_level", note_run, **act, level_after=Quantity(-1, "-1 m³"))
    refused("source_missing", note_run, **act, flow_source="")


def test_one_phone_at_the_tank_and_one_at_the_outlet_merge(scene, begun):
    run = begun.runs.first()
    opened = {"inlet_pressure": "", "level_before": "", "flow_source": ""}
    other = actor_of(scene.contractor.organisation, role="member")
    note_run(actor=other, run=run, opened=opened, level_before=Quantity(0.9, "900 L"))
    row = note_run(
        actor=scene.contractor, run=run, opened=opened, level_before=None,
        inlet_pressure=Quantity(7e5, "7 bar"),
    )  # fmt: skip
    assert (row.level_before_typed, row.inlet_pressure_typed) == ("900 L", "7 bar")
    with pytest.raises(Crossed) as crossed:
        note_run(actor=other, run=run, opened=opened, inlet_pressure=Quantity(6e5, "6 bar"))
    assert list(crossed.value.places) == ["inlet_pressure"]
    run.refresh_from_db()
    assert run.inlet_pressure_typed == "7 bar"


def test_foam_is_noted_once_and_can_be_taken_back(scene, begun):
    run = begun.runs.first()
    assert foam_seen(actor=scene.contractor, run=run, at=AT).foam_seen_at == AT
    with pytest.raises(Conflict):
        foam_seen(actor=scene.contractor, run=run, at=AT + 9 * SECOND)
    for _ in range(2):
        assert take_back_foam(actor=scene.contractor, run=run).foam_seen_at is None
    verbs = Change.objects.filter(object_key=run.key).values_list("verb", flat=True)
    assert list(verbs) == ["created", "changed", "taken back"]


def test_samples_are_labelled_in_order_on_the_bench(scene, begun):
    minimum, design = begun.runs.all()
    labels = [
        add_sample(actor=scene.contractor, run=run, at=AT + n * SECOND).label
        for n, run in enumerate([minimum, minimum, design])
    ]
    assert labels == ["minimum 1", "minimum 2", "design 1"]
    named = add_sample(actor=scene.contractor, run=design, at=AT, label="Bottle 9")
    assert (named.position, named.bench) == (4, begun.bench)
    refused("label_used", add_sample, actor=scene.contractor, run=minimum, at=AT, label="Bottle 9")


def test_button_pressed_twice_stamps_one_sample(scene, begun):
    run = begun.runs.first()
    add_sample(actor=scene.contractor, run=run, at=AT, seen=0)
    with pytest.raises(Conflict):
        add_sample(actor=scene.contractor, run=run, at=AT + SECOND, seen=0)
    add_sample(actor=scene.contractor, run=run, at=AT + 20 * SECOND, seen=1)
    assert queries.run(scene.contractor, run.key).bottles.count() == 2


def test_sample_stamped_by_mistake_is_withdrawn_and_its_label_stays_used(scene, begun):
    run = begun.runs.first()
    bottle = add_sample(actor=scene.contractor, run=run, at=AT)
    act = {"actor": scene.contractor, "bottle": bottle}
    refused("reason_missing", withdraw_sample, **act, reason=" ")
    withdraw_sample(**act, reason="Pressed by mistake")
    assert not run.bottles.in_use().exists()
    assert add_sample(actor=scene.contractor, run=run, at=AT, seen=0).label == "minimum 2"
    assert bring_back_sample(**act).withdrawn_reason == ""
    assert run.bottles.in_use().count() == 2
    Reading.objects.create(
        by=scene.contractor, bottle=bottle, sequence=1, value_typed="1.3336", value="1.3336",
        read_at=AT, read_by="A",
    )  # fmt: skip
    refused("has_readings", withdraw_sample, **act, reason="Pressed by mistake")


def test_flush_steps_are_ticked_in_order_and_taken_back_from_the_end(scene, begun):
    first, second, third = begun.flush_steps.all()[:3]
    act = {"actor": scene.contractor}
    refused("out_of_order", flush_done, **act, step=second, at=AT)
    flush_done(**act, step=first, at=AT)
    assert flush_done(**act, step=second, at=AT).done_by == scene.contractor.person
    with pytest.raises(Conflict):
        flush_done(**act, step=second, at=AT)
    refused("out_of_order", flush_undone, **act, step=first)
    assert flush_undone(**act, step=second).done_at is None
    refused("out_of_order", flush_done, **act, step=third, at=AT)


def test_last_line_back_in_place_ends_the_impairment(scene, begun):
    lines = list(begun.visit.restoration_lines.all())
    for line in lines[:-1]:
        end_line(actor=scene.contractor, line=line, outcome="restored", at=AT)
    assert Visit.objects.get().impaired
    later = AT + 3600 * SECOND
    end_line(actor=scene.contractor, line=lines[-1], outcome="not_fitted", at=later)
    visit = Visit.objects.get()
    assert (visit.restored_at, visit.restored_by) == (later, scene.contractor.person)
    refused("back_in_service", prepared, scene=scene, visit=visit)


def test_line_left_out_says_why_and_to_whom_and_keeps_the_impairment_open(scene, begun):
    values = {"outcome": "left_out", "reason": "Valve seized"}
    refused("hand_over_missing", end_all, scene=scene, test=begun, **values)
    line = begun.visit.restoration_lines.last()
    act = {"actor": scene.contractor, "line": line, "at": AT}
    refused("reason_missing", end_line, **act, outcome="left_out", handed_to="Owner", handed_at=AT)
    refused("outcome_unknown", end_line, **act, outcome="")
    end_line(**act, **values, handed_to="Shift leader", handed_at=AT)
    assert Visit.objects.get().impaired
    with pytest.raises(Conflict):
        end_line(**act, outcome="restored")


def test_line_left_out_is_put_back_after_the_record_was_handed_in(scene, begun):
    left = end_all(
        scene, begun, outcome="left_out", reason="Valve seized", handed_to="Shift leader",
        handed_at=AT,
    )  # fmt: skip
    hand_in(scene, begun)
    later = AT + timedelta(days=3)
    other = begun.visit.restoration_lines.first()
    refused("not_left_out", put_back, actor=scene.contractor, line=other, at=later)
    line = put_back(actor=scene.contractor, line=left, at=later)
    assert (line.follows, line.position) == (left, left.position + 1)
    assert Visit.objects.get().restored_at == later
    with pytest.raises(Conflict):
        put_back(actor=scene.contractor, line=left, at=later)
    left.refresh_from_db()
    assert left.outcome == "left_out"
    assert reopen_line(actor=scene.contractor, line=line).outcome == ""
    assert Visit.objects.get().impaired


def test_line_ended_by_mistake_is_reopened_while_no_test_rests_on_it(scene, begun):
    line = end_all(scene, begun)
    assert reopen_line(actor=scene.contractor, line=line).outcome == ""
    assert Visit.objects.get().impaired
    end_line(actor=scene.contractor, line=line, outcome="restored", at=AT)
    hand_in(scene, begun)
    refused("not_draft", reopen_line, actor=scene.contractor, line=line)
    assert not Visit.objects.get().impaired


def test_line_that_was_put_back_is_not_reopened_behind_it(scene, begun):
    left = end_all(
        scene, begun, outcome="left_out", reason="Seized", handed_to="Owner", handed_at=AT
    )
    put_back(actor=scene.contractor, line=left, at=AT)
    refused("put_back_already", reopen_line, actor=scene.contractor, line=left)
    left.refresh_from_db()
    assert left.outcome == "left_out"


def test_lines_end_also_when_the_test_was_abandoned(scene, begun):
    """A test that came to nothing has moved the valves all the same."""
    begun.state = "abandoned"
    begun.save(by=scene.contractor)
    end_all(scene, begun)
    assert not Visit.objects.get().impaired


def test_nothing_is_put_back_before_the_day_has_begun(scene):
    line = prepared(scene).visit.restoration_lines.first()
    refused("not_started", end_line, actor=scene.contractor, outcome="restored", at=AT, line=line)
    line.refresh_from_db()
    assert line.outcome == ""


def test_strangers_stamp_nothing(scene, begun):
    run, step = begun.runs.first(), begun.flush_steps.first()
    line = begun.visit.restoration_lines.first()
    at = datetime(2026, 6, 15, 10, tzinfo=UTC)
    for actor in (scene.owner, scene.authority):
        for deed in (
            lambda actor=actor: add_sample(actor=actor, run=run, at=at),
            lambda actor=actor: flush_done(actor=actor, step=step, at=at),
            lambda actor=actor: end_line(actor=actor, line=line, outcome="restored", at=at),
            lambda actor=actor: put_back(actor=actor, line=line, at=at),
        ):
            with pytest.raises(Forbidden):
                deed()
    assert add_sample(actor=scene.contractor, run=run, at=at).taken_at == at
