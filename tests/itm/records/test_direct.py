"""Direct tests as records: services, hand-in rules, seal, amendment, baseline. Figures invented;
expected values are arithmetic beside them, uncertainties by JCGM 100:2008, 4.3.7 and 5.1.2."""

import json
import math
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core.durations import duration
from itm.core.errors import Forbidden, Refused
from itm.intake.complete import problems
from itm.records import bench as benches
from itm.records import chain, discharge, measuring
from itm.records.direct_remarks import direct_remarks
from itm.records.evaluate import preview
from itm.records.models import DirectRun, DirectSetup, FlowRun, ProportioningTest
from itm.records.preparing import Direct, prepare_test
from itm.schedule.models import Duty
from tests.deeds import tested
from tests.direct_deeds import (
    direct_day,
    flow,
    in_its_place,
    measured_test,
    metered,
    metres,
    put_back,
    ran,
    run_at,
    sank,
    share,
    two_flows,
    vessel,
    volume,
)
from tests.factories import InstrumentFactory, actor_of

WANTED = {"minimum": 3.2, "design": 3.4}


def codes(test) -> set[str]:
    return {problem.code for problem in problems(test)}


def point(test, name="design"):
    result = test.evaluations.latest("pk").result
    return next(p for p in result["flow_points"] if p["name"] == name)


def at(day, name="design") -> FlowRun:
    return day.test.runs.select_related("flow_point", "test").get(flow_point__name=name)


@pytest.mark.parametrize("method", ["two_flows", "draw_down", "weighed"])
def test_a_direct_day_ends_in_a_sealed_record_that_verifies(scene, method):
    test = measured_test(scene, method, WANTED)
    assert (test.state, test.limits, test.certainty) == ("sealed", "in band", "settled")
    for name, wanted in WANTED.items():
        assert point(test, name)["percent"] == pytest.approx(wanted, rel=1e-6)
    form = chain.parsed(test.seal)
    assert (form["form"], form["test"]["method"], form["bench"]) == (5, method, None)
    assert [run["flow_point"] for run in form["direct"]["runs"]] == ["minimum", "design"]
    assert {"direct", "direct_runs"} <= set(form["rows"])
    # 950 L at 1900 L/min and 3.4 % last 14.7 min (arithmetic).
    assert form["supply"][1]["minutes"] == pytest.approx(950 / (1900 * 0.034))
    assert list(chain.verify()) == []
    assert Duty.objects.filter(done_on=test.tested_on, tank=None).exists()


def test_uncertainty_is_that_of_both_meters_as_rectangles(scene):
    test = measured_test(scene, "two_flows", WANTED)
    step = 0.1 / math.sqrt(12)  # of displays of 0.1 L/min
    first, second = 64.6, 1900.0
    parts = [math.hypot(first * 0.01 / math.sqrt(3), step) / first,
             math.hypot(second * 0.02 / math.sqrt(3), step) / second]  # fmt: skip
    assert point(test)["standard_uncertainty"] == pytest.approx(3.4 * math.hypot(*parts))


def test_sealed_measurements_refuse_change(scene):
    test = measured_test(scene, "two_flows")
    for row, name in ((run_at(test), "second_source"), (test.direct, "second_fitted")):
        setattr(row, name, "meter")
        with pytest.raises(IntegrityError), transaction.atomic():
            row.save(by=scene.contractor)
    with pytest.raises(IntegrityError), transaction.atomic():
        DirectRun.objects.create(by=scene.contractor, run=test.runs.first())


def test_a_lean_direct_result_opens_a_retest_at_once(scene):
    test = measured_test(scene, "two_flows", {"minimum": 2.4, "design": 3.4})
    assert (test.limits, test.certainty) == ("lean", "settled")
    assert Duty.objects.get(done_on=None, cause="retest").due_on == test.tested_on


def test_what_is_missing_is_told_step_by_step(scene):
    day = direct_day(scene, "two_flows")
    assert codes(day.test) >= {
        "flow_missing", "meter_missing", "accuracy_missing", "meter_in_missing", "source_missing",
    }  # fmt: skip
    assert {p.place for p in problems(day.test) if p.code == "meter_missing"} == {"measure"}
    metered(scene, ran(day))
    assert codes(day.test) == {"source_missing", "flush_open", "restoration_open"}
    two_flows(put_back(day), WANTED)
    assert codes(day.test) == set()
    draw = direct_day(scene, "draw_down", on=date(2026, 6, 16))
    assert codes(draw.test) >= {"vessel_missing", "level_step_missing", "level_missing"}
    assert "sample_missing" not in codes(draw.test)


def test_a_nameplate_is_no_evidence_and_stops_the_hand_in(scene):
    day = put_back(two_flows(metered(scene, ran(direct_day(scene, "two_flows"))), WANTED))
    discharge.note_run(
        actor=day.actor, run=at(day), solution_flow=flow(1900), flow_source="nameplate"
    )
    assert codes(day.test) == {"nameplate_no_evidence"}
    with pytest.raises(Refused, match="nobody measured") as refused:
        hand_in(actor=day.actor, key=day.test.key, at=day.tick())
    assert refused.value.place == "measure"


def test_a_meter_in_the_water_gives_the_solution_flow_of_both(scene):
    day = metered(scene, direct_day(scene, "two_flows"), meter_in="water")
    for name, litres in (("minimum", 582.0), ("design", 1843.0)):
        measuring.note_measured(
            actor=day.actor, run=at(day, name), concentrate_source="meter",
            concentrate_read="rate", concentrate_flow=flow(57 if name == "design" else 18),
            second_read="rate", second_source="meter", second_flow=flow(litres),
        )  # fmt: skip
    assert at(day).solution_flow_typed == "1900 L/min"
    found = {p["name"]: p["percent"] for p in preview(day.test).result["flow_points"]}
    assert found == {"minimum": pytest.approx(3.0), "design": pytest.approx(3.0)}
    # Where it sits is changed, and the flow of the run follows: 1843 would be solution then.
    measuring.note_setup(actor=day.actor, test=day.test, meter_in="solution")
    assert at(day).solution_flow_typed == "1843 L/min"


def test_totalisers_count_over_the_time_between(scene):
    day = metered(scene, direct_day(scene, "two_flows"))
    measuring.note_measured(
        actor=day.actor, run=at(day), duration=duration("2:30"), concentrate_source="meter",
        concentrate_read="totaliser", concentrate_start=volume(10441),
        concentrate_end=volume(10601), second_read="totaliser", second_source="meter",
        second_start=volume(88000), second_end=volume(92750),
    )  # fmt: skip
    assert at(day).solution_flow_typed == "1900 L/min"  # 4750 L in 2 min 30 s
    (only,) = preview(day.test).result["flow_points"]
    assert only["percent"] == pytest.approx(100 * 160 / 4750)
    counted = math.hypot(160 * 0.01 / math.sqrt(3), 1 / math.sqrt(12), 1 / math.sqrt(12)) / 160
    first = next(p for p in only["parts"] if p["name"] == "concentrate meter")
    wanted = only["percent"] * math.hypot(counted, 0.5 / 150)
    assert first["standard_uncertainty"] == pytest.approx(wanted)
    with pytest.raises(Refused, match="more after the run"):
        measuring.note_measured(actor=day.actor, run=at(day), second_end=volume(80000))
    row = run_at(day.test)
    row.second_end = 1.0
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save(by=day.actor)


def test_flow_of_the_discharge_is_not_overwritten_and_not_written_twice(scene):
    day = metered(scene, ran(direct_day(scene, "two_flows")))
    second = {"second_read": "rate", "second_source": "meter", "second_flow": flow(1850)}
    with pytest.raises(Refused, match="noted as solution flow") as refused:
        measuring.note_measured(actor=day.actor, run=at(day), **second)
    assert refused.value.code == "flow_noted"
    discharge.note_run(actor=day.actor, run=at(day), solution_flow=None, flow_source="")
    measuring.note_measured(actor=day.actor, run=at(day), **second)
    assert at(day).solution_flow_typed == "1850 L/min"
    with pytest.raises(Refused, match="meters of this flow point"):
        discharge.note_run(actor=day.actor, run=at(day), solution_flow=flow(1900))
    measuring.note_measured(actor=day.actor, run=at(day), second_read="discharge")
    assert at(day).solution_flow_typed == ""


def test_a_pitot_flow_counts_as_the_second_one(scene):
    day = metered(scene, direct_day(scene, "two_flows"), second_meter=None)
    discharge.note_run(actor=day.actor, run=at(day), outlets=["63.5 mm; 0.90; 1.72 bar"] * 2)
    two = two_flows(day, WANTED)
    (only,) = preview(two.test).result["flow_points"]
    run = at(day)
    assert run.flow_source == "pitot"
    assert only["percent"] == pytest.approx(100 * flow(64.6).si / run.solution_flow)
    assert "meter_missing" not in codes(day.test)


def test_a_totaliser_read_as_a_flow_is_asked_about(scene):
    """1161.5 of a totaliser typed as L/min, at 1900 of solution. Common practice, no published
    source: three times nominal is looked at."""
    day = ran(metered(scene, direct_day(scene, "two_flows")))
    run = run_at(day.test).run
    measuring.note_measured(
        actor=day.actor, run=run, concentrate_source="meter", concentrate_read="rate",
        concentrate_flow=flow(1161.5),
    )  # fmt: skip
    test = ProportioningTest.objects.get(pk=day.test.pk)
    [remark] = direct_remarks(measuring.setup_of(test), FlowRun.objects.get(pk=run.pk))
    assert remark.startswith("That is 61.1 % of the solution where 3 % is nominal: ")
    assert "whether a totaliser was read as a flow" in remark


def test_too_short_a_draw_down_says_how_much_longer_before_it_is_over(scene):
    """Ten steps: common practice, no published source. Surface 1.131 m², 64.6 L/min: 10 cm of a
    centimetre scale take 105 s (arithmetic)."""
    day = vessel(ran(direct_day(scene, "draw_down")), level_step=metres(0.01))
    measuring.note_measured(actor=day.actor, run=at(day), level_before=metres(1.5))
    setup = DirectSetup.objects.get(test=day.test)
    setup.test = day.test
    (before,) = direct_remarks(setup, with_direct(day))
    # Nominal 3 % of 1900 L/min is 57 L/min: 113.1 L in 119 s.
    assert "in about 1 minute 59 seconds" in before
    sank(day, WANTED, over="1:00")
    words = " ".join(direct_remarks(setup, with_direct(day)))
    assert "run about 45 seconds longer" in words
    found = preview(day.test).result
    assert {w["code"] for w in found["warnings"]} == {"level_moved_little"}
    assert {p["certainty"] for p in found["flow_points"]} == {"undecided"}


def with_direct(day) -> FlowRun:
    return FlowRun.objects.select_related("flow_point", "direct", "test").get(pk=at(day).pk)


@pytest.mark.parametrize(
    ("entered", "code"),
    [
        ({"level_before": metres(2.5)}, "beyond_vessel"),
        ({"level_before": metres(1.0), "level_after": metres(1.2)}, "level_rose"),
        ({"second_read": "rate", "second_flow": flow(0)}, "not_positive"),
    ],
)
def test_impossible_measurement_is_refused(scene, entered, code):
    day = vessel(direct_day(scene, "draw_down"))
    with pytest.raises(Refused) as refused:
        measuring.note_measured(actor=day.actor, run=at(day), **entered)
    assert refused.value.code == code


@pytest.mark.parametrize(
    ("entered", "code"),
    [
        ({"diameter": metres(0)}, "size"),
        ({"length": metres(2000)}, "vessel"),
        ({"second_accuracy": share(80)}, "accuracy"),
    ],
)
def test_impossible_setup_is_refused(scene, entered, code):
    day = vessel(direct_day(scene, "draw_down"))
    with pytest.raises(Refused) as refused:
        measuring.note_setup(actor=day.actor, test=day.test, **entered)
    assert refused.value.code == code


def test_a_meter_is_ones_own_and_reads_a_flow(scene):
    day = direct_day(scene, "two_flows")
    foreign = InstrumentFactory(method="flow", unit="L/min", resolution=Decimal(1))
    for meter, code in ((foreign, "instrument_not_yours"), (scene.instrument, "no_flow_meter")):
        with pytest.raises(Refused) as refused:
            measuring.note_setup(actor=day.actor, test=day.test, concentrate_meter=meter)
        assert refused.value.code == code


def test_bench_and_direct_keep_out_of_each_other(scene):
    direct, bench = direct_day(scene, "two_flows"), tested(scene, until="draft")
    with pytest.raises(Refused, match="reads no bottle"):
        benches.set_out(actor=direct.actor, test=direct.test)
    with pytest.raises(Refused, match="reads no bottle"):
        discharge.add_sample(actor=direct.actor, run=at(direct), at=direct.tick())
    with pytest.raises(Refused, match="read on a bench"):
        measuring.note_setup(actor=direct.actor, test=bench, meter_in="water")
    bench.method = "two_flows"
    with pytest.raises(IntegrityError), transaction.atomic():
        bench.save(by=scene.contractor)


def test_only_the_crew_measures(scene):
    day = direct_day(scene, "two_flows")
    for actor in (scene.owner, scene.authority, actor_of(scene.owner.organisation)):
        with pytest.raises(Forbidden):
            measuring.note_setup(actor=actor, test=day.test, meter_in="water")
        with pytest.raises(Forbidden):
            measuring.note_measured(actor=actor, run=at(day), duration=duration("1:00"))


# Another liquid ---------------------------------------------------------------------------------


def test_another_liquid_needs_a_sealed_test_with_foam_at_the_same_flow(scene):
    with pytest.raises(Refused, match="no percent of its own") as refused:
        direct_day(scene, "other_liquid", liquid="water")
    assert refused.value.code == "foam_baseline_missing"
    tested(scene, WANTED, until="handed_in", on=date(2025, 6, 10))
    with pytest.raises(Refused):
        direct_day(scene, "other_liquid", liquid="water")


def test_another_liquid_is_scaled_and_names_its_baseline_and_the_day(scene):
    foam = tested(scene, {"minimum": 3.2, "design": 3.2}, on=date(2025, 6, 10))
    test = measured_test(scene, "other_liquid", {"minimum": 3.2, "design": 3.52}, liquid="water")
    # Ten percent more of the same liquid than beside the foam is ten percent more concentrate.
    assert point(test)["percent"] == pytest.approx(1.1 * point(foam)["percent"])
    assert point(test)["factor"] == pytest.approx(1 / 1.2, rel=1e-3)
    (was, _) = (run["baseline"] for run in chain.parsed(test.seal)["direct"]["runs"])
    assert was["name"] == "proportioning test of 10 Jun 2025, sealed record 1"
    assert (was["record"], was["beside_on"]) == (str(foam.key), "2025-06-10")
    assert list(chain.verify()) == []
    # Typed once: the next test of the same liquid against the same foam has it already.
    again = direct_day(scene, "other_liquid", liquid="water", on=date(2026, 9, 1))
    assert run_at(again.test).beside_source == "acceptance report, page 3"
    other = direct_day(
        scene, "other_liquid", liquid="surrogate", liquid_name="Invented oil", on=date(2026, 9, 2)
    )
    assert run_at(other.test).beside_source == ""


def test_without_what_it_read_beside_the_foam_nothing_is_handed_in(scene):
    tested(scene, WANTED, on=date(2025, 6, 10))
    day = put_back(in_its_place(metered(scene, ran(direct_day(
        scene, "other_liquid", liquid="water"))), WANTED))  # fmt: skip
    measuring.note_measured(actor=day.actor, run=at(day), beside_liquid_flow=None)
    assert codes(day.test) == {"foam_baseline_missing"}
    measuring.note_measured(actor=day.actor, run=at(day), beside_liquid_flow=flow(73))
    discharge.note_run(actor=day.actor, run=at(day), solution_flow=flow(1500), flow_source="meter")
    assert codes(day.test) == {"no_result"}
    assert "21% off the flow of its baseline" in preview(day.test).problem


def test_another_liquid_accepts_nothing_and_is_named(scene):
    tested(scene, WANTED, on=date(2025, 6, 10))
    for options, code in (
        ({"liquid": "water", "purpose": "acceptance"}, "acceptance_needs_foam"),
        ({}, "liquid_missing"),
        ({"liquid": "surrogate"}, "liquid_missing"),
    ):
        with pytest.raises(Refused) as refused:
            direct_day(scene, "other_liquid", **options)
        assert refused.value.code == code


# The life of the record -------------------------------------------------------------------------


def test_a_direct_record_is_sent_back_amended_and_abandoned_like_any(scene):
    test = measured_test(scene, "two_flows", WANTED, until="handed_in")
    later = test.handed_in_at + timedelta(hours=1)
    back = send_back(actor=scene.owner, key=test.key, reason="which meter?", at=later)
    assert (back.state, json.loads(bytes(test.moves.get(verb="hand_in").document))["form"]) == (
        "draft", 5,
    )  # fmt: skip
    hand_in(actor=scene.contractor, key=test.key, at=later)
    sign(actor=scene.contractor, key=test.key, at=later, name="N", qualification="Q")
    draft = amend(actor=scene.contractor, key=test.key, reason="a flow mistyped", at=later)
    assert isinstance(draft, ProportioningTest)
    assert draft.direct.pk != test.direct.pk
    run = draft.runs.select_related("test").get(flow_point__name="design")
    measuring.note_measured(actor=scene.contractor, run=run, concentrate_flow=flow(66.5))
    hand_in(actor=scene.contractor, key=draft.key, at=later)
    sign(actor=scene.contractor, key=draft.key, at=later, name="N", qualification="Q")
    assert point(draft)["percent"] == pytest.approx(3.5)
    assert point(test)["percent"] == pytest.approx(3.4)
    assert list(chain.verify()) == []
    gone = measured_test(scene, "draw_down", WANTED, until="draft", on=date(2026, 7, 1))
    abandon(actor=scene.contractor, key=gone.key, reason="storm", at=later)
    gone.refresh_from_db()
    assert (gone.state, run_at(gone).duration_typed) == ("abandoned", "4:00")


def test_several_methods_of_one_visit_are_tests_of_their_own(scene):
    day = direct_day(scene, "two_flows")
    same = {"actor": day.actor, "visit": day.test.visit, "proportioner": scene.proportioner}
    other = prepare_test(**same, bench=Direct("draw_down"), purpose="periodic", at=day.now)
    assert other.visit_id == day.test.visit_id
    with pytest.raises(Refused, match="by this method"):
        prepare_test(**same, bench=Direct("two_flows"), purpose="periodic", at=day.now)


def test_direct_drafts_show_to_their_author_alone(scene):
    test = measured_test(scene, "two_flows", until="draft")

    def seen() -> list[bool]:
        people = (scene.contractor, scene.owner, scene.authority)
        rows = [ProportioningTest.objects.visible_to(one).filter(pk=test.pk) for one in people]
        return [row.exists() for row in rows]

    assert seen() == [True, False, False]
    hand_in(actor=scene.contractor, key=test.key, at=test.visit.started_at)
    assert seen() == [True, True, False]
    sign(actor=scene.contractor, key=test.key, at=test.visit.started_at, name="N",
         qualification="Q")  # fmt: skip
    assert seen() == [True, True, True]
