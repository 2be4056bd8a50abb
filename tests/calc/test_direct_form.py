"""The form of a direct test. Figures are invented; each expected value is worked out beside it, by
arithmetic, by scipy or by the library fluids. Run and level figures: common practice, no published
source, where they say so.
"""

import math
from typing import Any

import pytest
from fluids import TANK
from hypothesis import given
from hypothesis import strategies as some
from scipy import stats

from calc.direct import seconds_more, seconds_to_move, seconds_to_weigh
from calc.direct_form import evaluate_direct
from calc.errors import CalcError
from calc.units import FLOW
from calc.vessel_form import vessel_at
from calc.vessels import VerticalCylinder, level_of, volume_at

LITRE_A_MINUTE = FLOW["L/min"]
STANDING = {"shape": "standing_cylinder", "diameter": 1.2, "length": 2.0, "heads": "flat"}


def read(value: float, share: float = 0.01) -> dict[str, float]:
    """A reading that is known to a share of itself."""
    return {"value": value, "standard_uncertainty": share * value}


def flow(litres_a_minute: float, share: float = 0.01) -> dict[str, float]:
    return read(litres_a_minute * LITRE_A_MINUTE, share)


def two_flows(concentrate: float = 63, second: float = 1900, **changed: Any) -> dict[str, Any]:
    point = {"name": "design", "concentrate_flow": flow(concentrate), "second_flow": flow(second)}
    form = {
        "method": "two_flows", "nominal_percent": 3, "criterion": "common",
        "meter_in": "solution", "flow_points": [point],
    }  # fmt: skip
    return {**form, **changed}


def sunk(seconds: float = 120, step: float = 0.001, percent: float = 3.2) -> dict[str, Any]:
    """A standing tank of 1.2 m from which so much was drawn at 1900 L/min."""
    vessel = VerticalCylinder(1.2, 2.0)
    drawn = percent / 100 * 1900 * LITRE_A_MINUTE * seconds
    after = level_of(vessel, volume_at(vessel, 1.5) - drawn)
    u = step / math.sqrt(12)  # JCGM 100:2008, F.2.2.1
    point = {
        "name": "design",
        "level_before": {"value": 1.5, "standard_uncertainty": u},
        "level_after": {"value": after, "standard_uncertainty": u},
        "seconds": {"value": seconds, "standard_uncertainty": 0.5},
        "solution_flow": flow(1900),
    }
    return {
        "method": "draw_down", "nominal_percent": 3, "criterion": "common", "vessel": STANDING,
        "level_step": step, "flow_points": [point],
    }  # fmt: skip


def lighter(seconds: float = 120, step: float = 0.5, percent: float = 3.2) -> dict[str, Any]:
    """A tote of 1040 kg/m³ that lost so much at 1900 L/min."""
    drawn = percent / 100 * 1900 * LITRE_A_MINUTE * seconds * 1040
    u = step / math.sqrt(12)  # JCGM 100:2008, F.2.2.1
    point = {
        "name": "design",
        "mass_before": {"value": 9000.0, "standard_uncertainty": u},
        "mass_after": {"value": 9000.0 - drawn, "standard_uncertainty": u},
        "seconds": {"value": seconds, "standard_uncertainty": 0.5},
        "solution_flow": flow(1900),
    }
    return {
        "method": "weighed", "nominal_percent": 3, "criterion": "common",
        "density": {"value": 1040, "standard_uncertainty": 2.0}, "scale_step": step,
        "flow_points": [point],
    }  # fmt: skip


def in_its_place(liquid: float = 72, **changed: Any) -> dict[str, Any]:
    """Water in place of concentrate; beside the foam it read 72 L/min where foam gave 3.2 %."""
    was = {
        "name": "test of 2024-05-14", "percent": 3.2, "standard_uncertainty": 0.05,
        "degrees_of_freedom": 20, "solution_flow": 1900 * LITRE_A_MINUTE,
        "liquid_flow": flow(72), "second_flow": flow(1900),
    }  # fmt: skip
    baseline = None if changed.get("baseline", was) is None else was | changed.pop("baseline", {})
    point = {
        "name": "design", "liquid_flow": flow(liquid), "second_flow": flow(1900),
        "baseline": baseline,
    }  # fmt: skip
    changed.pop("baseline", None)
    return {
        "method": "other_liquid", "nominal_percent": 3, "criterion": "common",
        "meter_in": "solution", "flow_points": [point], **changed,
    }  # fmt: skip


def only(form: dict[str, Any]) -> dict[str, Any]:
    (point,) = evaluate_direct(form).as_dict()["flow_points"]
    return point


def test_two_flows_give_percent_of_solution_with_both_uncertainties():
    point = only(two_flows())
    assert point["percent"] == pytest.approx(100 * 63 / 1900)
    # Both meters to 1 %: √2 % of the percent (JCGM 100:2008, 5.1.2, arithmetic).
    assert point["standard_uncertainty"] == pytest.approx(0.0141421 * point["percent"], rel=1e-5)
    half = stats.norm.ppf(0.975) * point["standard_uncertainty"]
    assert point["interval"] == pytest.approx(
        [point["percent"] - half, point["percent"] + half], rel=1e-9
    )
    assert (point["limits"], point["certainty"]) == ("in band", "settled")


def test_a_meter_in_the_water_is_no_meter_in_the_solution():
    # 57 of concentrate to 1843 of water is 3 % of the solution, and 3.093 % of the water.
    of_water = only(two_flows(57, 1843))
    of_solution = only(two_flows(57, 1843, meter_in="water"))
    assert of_solution["percent"] == pytest.approx(3.0)
    assert of_water["percent"] == pytest.approx(3.093, abs=5e-4)
    with pytest.raises(CalcError) as refused:
        evaluate_direct(two_flows(meter_in="foam"))
    assert (refused.value.code, refused.value.where) == ("unknown_choice", "$.meter_in")


def test_probability_is_that_of_students_t_stretched_to_the_uncertainty():
    point = only(two_flows(57.5))
    u, dof = point["standard_uncertainty"], point["degrees_of_freedom"]
    scale = u / math.sqrt(dof / (dof - 2))
    below, above = (
        stats.t.cdf((3.0 - point["percent"]) / scale, dof),
        stats.t.sf((3.9 - point["percent"]) / scale, dof),
    )
    assert dof == 20
    assert point["probability_in_band"] == pytest.approx(1 - below - above, rel=1e-9)


def test_limits_of_its_own_and_simple_acceptance_are_taken():
    narrow = only(two_flows(criterion={"lower": 3.4, "upper": 4.0}, verdict_probability=None))
    assert (narrow["limits"], narrow["certainty"]) == ("lean", "settled")


def test_tank_that_sinks_gives_back_what_was_drawn():
    point = only(sunk())
    assert point["percent"] == pytest.approx(3.2, rel=1e-9)
    # 1 mm of a tank of 1.2 m is 1.131 L; two levels read to 1 mm, of 121.6 L drawn (arithmetic).
    level = 1.1310 / math.sqrt(12) / 121.6 * 3.2
    parts = {part["name"]: part["standard_uncertainty"] for part in point["parts"]}
    assert parts["level before"] == pytest.approx(level, rel=1e-4)
    assert parts["level after"] == pytest.approx(level, rel=1e-4)
    assert parts["time"] == pytest.approx(3.2 * 0.5 / 120)
    assert parts["solution flow"] == pytest.approx(0.032)


def test_level_that_moved_less_than_ten_steps_leaves_the_answer_open():
    """The ten steps: common practice, no published source."""
    found = evaluate_direct(sunk(seconds=60, step=0.01)).as_dict()
    (warned,) = found["warnings"]
    moved = 3.2 / 100 * 1900e-3 / (math.pi * 0.36)  # m in a minute
    assert (warned["code"], warned["where"]) == ("level_moved_little", "$.flow_points[0]")
    assert f"Run {60 * (0.1 / moved - 1):.0f} s longer" in warned["message"]
    assert found["flow_points"][0]["certainty"] == "undecided"
    assert evaluate_direct(sunk(seconds=120, step=0.01)).as_dict()["warnings"] == []


def test_tote_that_gets_lighter_gives_back_what_was_drawn():
    point = only(lighter())
    assert point["percent"] == pytest.approx(3.2, rel=1e-9)
    # 126.46 kg left; a scale of half a kilogram, twice (arithmetic).
    parts = {part["name"]: part["standard_uncertainty"] for part in point["parts"]}
    assert parts["mass before"] == pytest.approx(3.2 * 0.5 / math.sqrt(12) / 126.464, rel=1e-4)
    assert parts["mass after"] == parts["mass before"]
    assert parts["density"] == pytest.approx(3.2 * 2 / 1040)
    assert parts["time"] == pytest.approx(3.2 * 0.5 / 120)
    assert parts["solution flow"] == pytest.approx(0.032)


def test_scale_that_moved_less_than_ten_steps_leaves_the_answer_open():
    """The ten steps: common practice, no published source."""
    found = evaluate_direct(lighter(seconds=40, step=5)).as_dict()
    (warned,) = found["warnings"]
    lost = 3.2 / 100 * 1900e-3 / 60 * 40 * 1040  # kg
    assert (warned["code"], warned["where"]) == ("scale_moved_little", "$.flow_points[0]")
    assert f"Run {40 * (50 / lost - 1):.0f} s longer" in warned["message"]
    assert found["flow_points"][0]["certainty"] == "undecided"
    assert evaluate_direct(lighter(seconds=60, step=5)).as_dict()["warnings"] == []
    # 50 kg at 0.95 L/s of 1040 kg/m³ take 50.6 s (arithmetic).
    assert seconds_to_weigh(5, 1040, 57 * LITRE_A_MINUTE) == pytest.approx(50.607, abs=1e-3)


def test_how_long_to_run_is_known_before_it_runs():
    # 10 mm scale, surface 1.131 m², 60 L/min: 0.1 m is 113.1 L, which takes 113.1 s.
    vessel = VerticalCylinder(1.2, 2.0)
    assert seconds_to_move(vessel, 1.5, 0.01, 60 * LITRE_A_MINUTE) == pytest.approx(113.1, abs=0.05)
    assert seconds_more(0.06, 60, 0.01) == pytest.approx(40)
    assert seconds_more(0.2, 60, 0.01) == 0


def test_other_liquid_is_scaled_by_what_it_read_beside_the_foam():
    point = only(in_its_place())
    # The same reading as beside the foam means the same percent as the foam.
    assert point["percent"] == pytest.approx(3.2)
    assert point["liquid_percent"] == pytest.approx(100 * 72 / 1900)
    assert point["factor"] == pytest.approx(3.2 * 1900 / 7200)
    assert only(in_its_place(66))["percent"] == pytest.approx(3.2 * 66 / 72)
    # Four flows to 1 % and the foam to 0.05/3.2, all as squares (JCGM 100:2008, 5.1.6).
    share = math.sqrt(4 * 0.01**2 + (0.05 / 3.2) ** 2)
    assert point["standard_uncertainty"] == pytest.approx(share * 3.2, rel=1e-6)


@pytest.mark.parametrize(
    ("form", "code", "where"),
    [
        (in_its_place(baseline=None), "foam_baseline_missing", "$.flow_points[0].baseline"),
        (
            in_its_place(baseline={"solution_flow": 1000 * LITRE_A_MINUTE}),
            "baseline_at_another_flow",
            "$.flow_points[0].baseline",
        ),
        (two_flows(2000, 1900), "out_of_range", "$.flow_points[0].concentrate_flow"),
        (two_flows(0), "out_of_range", "$.flow_points[0].concentrate_flow.standard_uncertainty"),
        ({"method": "brix"}, "unknown_choice", "$.method"),
        ({**sunk(), "vessel": {"shape": "sphere"}}, "missing_key", "$.vessel.diameter"),
        ({**sunk(), "vessel": {**STANDING, "heads": "round"}}, "unknown_choice", "$.vessel.heads"),
        ({**sunk(), "vessel": {**STANDING, "diameter": 1e4}}, "out_of_range", "$.vessel.diameter"),
        ({**sunk(), "level_step": 0}, "out_of_range", "$.level_step"),
        ({**sunk(), "vessel": {**STANDING, "length": 1.0}}, "out_of_range", "$.flow_points[0]"),
        ({**lighter(), "density": 1040}, "not_an_object", "$.density"),
        (
            {**lighter(), "density": {"value": 0, "standard_uncertainty": 1}},
            "out_of_range",
            "$.density.value",
        ),
        ({**lighter(), "scale_step": 0}, "out_of_range", "$.scale_step"),
        (lighter(percent=-3), "out_of_range", "$.flow_points[0]"),
        ({**two_flows(), "flow_points": []}, "empty_list", "$.flow_points"),
        ([], "not_an_object", "$"),
    ],
)
def test_what_makes_no_test_is_refused_at_its_place(form, code, where):
    with pytest.raises(CalcError) as refused:
        evaluate_direct(form)
    assert (refused.value.code, refused.value.where) == (code, where)
    assert refused.value.message


def test_a_flow_point_stands_once():
    form = two_flows()
    form["flow_points"] = form["flow_points"] * 2
    with pytest.raises(CalcError) as refused:
        evaluate_direct(form)
    assert refused.value.code == "repeated_name"


@pytest.mark.parametrize(("heads", "k"), [("ellipsoidal", 0.25), ("flat", 0.0)])
def test_vessel_of_the_form_is_that_of_the_library_fluids(heads, k):
    given_ = {"shape": "lying_cylinder", "diameter": 1.2, "length": 3.0, "heads": heads}
    ends = {"sideA": "ellipsoidal", "sideB": "ellipsoidal"} if k else {}
    depth = {"sideA_a": k * 1.2, "sideB_a": k * 1.2} if k else {}
    other = TANK(D=1.2, L=3.0, horizontal=True, **ends, **depth)
    for level in (0.2, 0.6, 1.1):
        mine = volume_at(vessel_at(given_, "$"), level)
        assert mine == pytest.approx(other.V_from_h(level), rel=1e-6)


flows = some.floats(1.0, 200.0)


@given(flows, flows, some.floats(1e-3, 0.05))
def test_more_concentrate_is_more_percent_and_a_worse_meter_is_wider(lower, more, share):
    form = two_flows(lower, 2000)
    rich = two_flows(lower + more, 2000)
    assert only(rich)["percent"] > only(form)["percent"]
    assert 0 < only(form)["percent"] <= 100
    form["flow_points"][0]["concentrate_flow"] = flow(lower, share)
    wider = two_flows(lower, 2000)
    wider["flow_points"][0]["concentrate_flow"] = flow(lower, 2 * share)
    assert only(wider)["standard_uncertainty"] > only(form)["standard_uncertainty"]


@given(some.floats(30, 300), some.floats(0.5, 9.0))
def test_longer_run_of_a_sinking_tank_is_never_less_sure(seconds, percent):
    short, long = only(sunk(seconds, percent=percent)), only(sunk(1.2 * seconds, percent=percent))
    assert short["percent"] == pytest.approx(percent, rel=1e-6)
    assert long["standard_uncertainty"] < short["standard_uncertainty"]


@given(some.floats(60, 300), some.floats(0.5, 9.0))
def test_longer_run_of_a_scale_is_never_less_sure(seconds, percent):
    short = only(lighter(seconds, percent=percent))
    long = only(lighter(1.2 * seconds, percent=percent))
    assert short["percent"] == pytest.approx(percent, rel=1e-6)
    assert long["standard_uncertainty"] < short["standard_uncertainty"]


@given(some.floats(20, 140), some.floats(0.005, 0.2))
def test_other_liquid_scales_with_its_reading_and_never_beats_its_baseline(liquid, unsure):
    point = only(in_its_place(liquid, baseline={"standard_uncertainty": unsure}))
    assert point["percent"] == pytest.approx(3.2 * liquid / 72)
    assert point["standard_uncertainty"] >= unsure * liquid / 72
