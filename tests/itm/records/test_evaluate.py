"""From rows to the engine: what is evaluated is the stored reading, and nothing else."""

from decimal import Decimal

import pytest

from itm.records import bench as benches
from itm.records import pouring
from itm.records.document import document
from itm.records.evaluate import engine_input, evaluate, outcome, preview
from itm.records.loading import whole
from itm.records.models import Bottle
from tests.deeds import discharged, prepared, restored

# Figures of one bench session: common practice, no published source.
SESSION = {"water": "1.3331", "2": "1.3334", "3": "1.3335", "4": "1.3338", "concentrate": "1.3511"}


def worked(scene, minimum: str, design: str):
    """That session on the bench of a visit, with one sample for each flow point."""
    scene.instrument.resolution = Decimal("0.0001")
    scene.instrument.save(by=scene.contractor)
    day = restored(discharged(prepared(scene), samples=1))
    benches.set_out(actor=day.actor, test=day.test)
    for bottle in day.test.bench.bottles.exclude(role="water_again").order_by("pk"):
        name = bottle.role
        if bottle.role == Bottle.Role.STANDARD:
            name = f"{float(bottle.target_percent):g}"
            pouring.set_volumes(
                actor=day.actor, bottle=bottle, concentrate_ml_typed=f"{2 * float(name):g}",
                water_ml_typed=f"{200 - 2 * float(name):g}",
            )  # fmt: skip
        elif bottle.run:
            name = bottle.run.flow_point.name
        _read(day, bottle, {**SESSION, "minimum": minimum, "design": design}[name])
    return day


def _read(day, bottle, typed):
    return benches.add_reading(
        actor=day.actor, bottle=bottle, value_typed=typed, temperature_typed="20.0", at=day.tick()
    )


def percents(test):
    return {p["name"]: p["percent"] for p in preview(test).result["flow_points"]}


def test_the_stored_readings_of_a_session_give_its_least_squares_line(scene):
    day = worked(scene, "1.3337", "1.3338")
    result = preview(day.test).result
    assert result["line"]["slope"] == pytest.approx(1.65714e-4, rel=1e-5)
    assert result["line"]["intercept"] == pytest.approx(1.33307714, abs=5e-9)
    assert percents(day.test) == {
        "minimum": pytest.approx(3.759, abs=5e-4),
        "design": pytest.approx(4.362, abs=5e-4),
    }


@pytest.mark.parametrize(
    ("role", "key", "code"),
    [
        ("water_again", "water_again", "water_drifted"),
        ("system_water", "test_water", "waters_differ"),
    ],
)
def test_another_reading_of_water_is_held_against_the_first_and_stays_out_of_the_line(
    scene, role, key, code
):
    day = worked(scene, "1.3335", "1.3336")
    before = preview(day.test).result
    benches.add_system_water(actor=day.actor, bench=day.test.bench)
    bottle = day.test.bench.bottles.get(role=role)
    assert key not in engine_input(whole(day.test.pk))
    _read(day, bottle, "1.3337")  # six steps of four decimals above the test water
    after = preview(day.test).result
    assert engine_input(whole(day.test.pk))[key] == [{"value": 1.3337, "temperature_c": 20.0}]
    assert after["line"] == before["line"]
    assert {w["code"] for w in after["warnings"]} - {w["code"] for w in before["warnings"]} == {
        code
    }
    assert {p["certainty"] for p in after["flow_points"]} == {"undecided"}


def test_water_once_more_stands_in_the_record_only_when_it_was_read(scene):
    day = worked(scene, "1.3335", "1.3336")
    evaluation = evaluate(day.test, actor=day.actor)

    def labels():
        return [b["label"] for b in document(whole(day.test.pk), evaluation)["bench"]["bottles"]]

    assert "water again" not in labels()
    _read(day, day.test.bench.bottles.get(role="water_again"), "1.3331")
    assert "water again" in labels()


def test_a_slip_in_transcription_needs_a_second_reading_that_everybody_sees(scene):
    """1.3338 on the display, plotted as 1.3340: here the number in the curve is the stored one."""
    day = worked(scene, "1.3337", "1.3338")
    bottle = Bottle.objects.get(bench=day.test.bench, run__flow_point__name="design")
    first = bottle.readings.get()
    _read(day, bottle, "1.3340")
    # Both count until one is set aside with a reason: the mean of the two, not the slip.
    assert percents(day.test)["design"] == pytest.approx((4.362 + 5.569) / 2, abs=1e-3)
    benches.set_aside(actor=day.actor, reading=first, reason="misread", at=day.tick())
    assert percents(day.test)["design"] == pytest.approx(5.569, abs=5e-4)
    warnings = {w["code"] for w in preview(day.test).result["warnings"]}
    assert "extrapolation" in warnings  # beyond the last standard, and said so
    kept = list(bottle.readings.order_by("sequence").values_list("value_typed", "set_aside_reason"))
    assert kept == [("1.3338", "misread"), ("1.3340", "")]


def test_what_goes_to_the_engine_is_what_was_typed(scene):
    day = worked(scene, "1.3337", "1.3338")
    form = engine_input(whole(day.test.pk))
    assert [s["readings"] for s in form["samples"]] == [
        [{"value": 1.3337, "temperature_c": 20.0}],
        [{"value": 1.3338, "temperature_c": 20.0}],
    ]
    assert form["standards"][1] == {
        "concentrate_ml": 6.0,
        "water_ml": 194.0,
        "readings": [{"value": 1.3335, "temperature_c": 20.0}],
    }
    assert (form["nominal_percent"], form["criterion"]) == (3.0, "common")


def test_recomputing_adds_an_evaluation_and_replaces_none(scene):
    day = worked(scene, "1.3337", "1.3338")
    first = evaluate(day.test, actor=day.actor)
    second = evaluate(day.test, actor=day.actor)
    assert first.pk != second.pk
    assert first.inputs_digest == second.inputs_digest
    assert first.result == second.result


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        ([("in band", "settled"), ("in band", "settled")], ("in band", "settled")),
        ([("in band", "undecided"), ("in band", "settled")], ("in band", "undecided")),
        ([("rich", "settled"), ("lean", "settled")], ("lean", "settled")),
        ([("in band", "undecided"), ("rich", "settled")], ("rich", "undecided")),
    ],
)
def test_a_test_is_summed_up_by_its_worst_flow_point(points, expected):
    result = {"flow_points": [{"limits": a, "certainty": b} for a, b in points]}
    assert outcome(result) == expected
