"""Direct methods. Expected values are plain arithmetic and simulation; figures are invented."""

import json
import math

import numpy as np
import pytest

from calc.direct import (
    Baseline,
    Reading,
    baseline,
    draw_down,
    draw_down_by_weight,
    flow_ratio,
    from_other_liquid,
    moved_enough,
    seconds_needed,
)
from calc.errors import CalcError
from calc.measured import Part, measured
from calc.student import coverage_factor
from calc.units import FLOW
from calc.vessels import Head, HorizontalCylinder, VerticalCylinder, level_of, volume_at

LITRE_A_MINUTE = FLOW["L/min"]
SOLUTION = Reading(2000 * LITRE_A_MINUTE, 20 * LITRE_A_MINUTE)
STANDING = VerticalCylinder(1.2, 2.0)


# Two flows


def test_ratio_of_two_flows_is_the_percent():
    result = flow_ratio(Reading(60 * LITRE_A_MINUTE, 0.9 * LITRE_A_MINUTE), SOLUTION)
    assert result.percent == pytest.approx(3.0)
    assert result.u_percent == pytest.approx(3 * math.hypot(0.015, 0.01))
    assert result.high - result.percent == pytest.approx(1.96 * result.u_percent, rel=1e-4)


def test_meter_in_the_water_is_not_a_meter_in_the_solution():
    # Pitfall 31: percent of water instead of solution makes 3.00 into 3.09 and 6.00 into 6.38.
    for percent, of_water in ((3, 3.09), (6, 6.38)):
        concentrate = Reading(percent * LITRE_A_MINUTE)
        water = Reading((100 - percent) * LITRE_A_MINUTE)
        assert flow_ratio(concentrate, water, "water").percent == pytest.approx(percent)
        assert flow_ratio(concentrate, water).percent == pytest.approx(of_water, abs=0.005)


def test_few_repeats_of_one_meter_widen_the_interval():
    few = flow_ratio(Reading(60e-3, 1e-3, 2), Reading(2.0))
    assert few.degrees_of_freedom == pytest.approx(2)
    assert few.high - few.percent == pytest.approx(coverage_factor(2) * few.u_percent)


def test_simulated_flows_scatter_as_stated():
    rng = np.random.default_rng(5)
    concentrate, other = 60 + rng.normal(0, 0.9, 40_000), 2000 + rng.normal(0, 20, 40_000)
    for meter in ("solution", "water"):
        scattered = flow_ratio(Reading(concentrate), Reading(other), meter).percent
        stated = flow_ratio(Reading(60.0, 0.9), Reading(2000.0, 20.0), meter).u_percent
        assert np.std(scattered) == pytest.approx(float(stated), rel=0.02)


# A tank that sinks


def test_draw_down_of_a_standing_tank():
    # 60 L in a minute at 2000 L/min of solution is 3 %, and moves a 1.2 m tank by 53 mm.
    after = level_of(STANDING, volume_at(STANDING, 1.5) - 0.060)
    result = draw_down(STANDING, Reading(1.5), Reading(after), Reading(60.0), SOLUTION)
    assert 1.5 - after == pytest.approx(0.053, abs=1e-4)
    assert result.percent == pytest.approx(3.0)
    assert result.u_percent == pytest.approx(3.0 * 0.01)


def test_millimetre_at_each_end_of_a_minute_is_2_7_percent():
    # Field practice: 1 mm at each end is about 2.7 % combined at 60 L/min over one minute.
    after = level_of(STANDING, volume_at(STANDING, 1.5) - 0.060)
    levels = Reading(1.5, 1e-3), Reading(after, 1e-3)
    result = draw_down(STANDING, *levels, Reading(60.0), Reading(2000 * LITRE_A_MINUTE))
    assert result.u_percent / result.percent == pytest.approx(0.027, abs=5e-4)


def test_lying_tank_is_least_exact_at_half_height():
    tank = HorizontalCylinder(1.2, 3.0, Head("torispherical"), Head("torispherical"))
    stated = {}
    for level in (0.6, 1.1):
        after = level_of(tank, volume_at(tank, level) - 0.06)
        run = draw_down(tank, Reading(level, 1e-3), Reading(after, 1e-3), Reading(60.0), SOLUTION)
        assert run.percent == pytest.approx(3.0)
        stated[level] = run.u_percent
    assert stated[1.1] < stated[0.6]


def test_full_tank_has_a_surface_too():
    run = draw_down(STANDING, Reading(2.0, 1e-3), Reading(1.9), Reading(60.0), SOLUTION)
    assert run.u_percent > 0


def test_simulated_draw_down_scatters_as_stated():
    rng = np.random.default_rng(6)
    tank = HorizontalCylinder(1.2, 3.0)
    high, low = (level + rng.normal(0, 1e-3, 20_000) for level in (0.9, 0.87))
    run = draw_down(tank, Reading(high), Reading(low), Reading(60.0), Reading(0.03))
    stated = draw_down(tank, Reading(0.9, 1e-3), Reading(0.87, 1e-3), Reading(60.0), Reading(0.03))
    assert np.std(run.percent) == pytest.approx(float(stated.u_percent), rel=0.02)


def test_weight_and_level_agree():
    run = draw_down_by_weight(
        Reading(500.0, 0.1),
        Reading(437.0, 0.1),
        Reading(1050.0, 2.0),
        Reading(60.0, 0.5),
        SOLUTION,
    )
    assert run.percent == pytest.approx(3.0)
    relative = [0.1 / 63, 0.1 / 63, 2 / 1050, 0.5 / 60, 0.01]
    assert run.u_percent == pytest.approx(3 * math.hypot(*relative))


def test_weighing_has_the_uncertainty_of_the_published_example():
    """Eurachem QUAM, example A1 (check value D-06): 1000 m P / V is what is weighed, over a volume,
    over a purity; here over a density, a time and a flow, which are 1, 1/P and V in its units."""
    m, u_m, p, u_p, v, u_v = 100.28, 0.05, 0.9999, 5.8e-5, 100.0, 0.07
    run = draw_down_by_weight(
        Reading(150.0 + m, u_m), Reading(150.0), Reading(1.0), Reading(1 / p, u_p / p**2),
        Reading(v, u_v),
    )  # fmt: skip
    assert 10 * run.percent == pytest.approx(1002.69972, abs=0.01)
    assert 10 * run.u_percent == pytest.approx(0.863702590151, abs=0.002)


def test_uncertainty_of_weights_is_that_of_drawn_rectangles():
    """JCGM 101 by numpy: steps, errors and densities drawn as rectangles, the model as it is."""
    draw = np.random.default_rng(20261130)
    n = 400_000

    def off(half):
        return draw.uniform(-half, half, n)

    masses = [value + off(0.5) + off(0.25) for value in (214.6, 193.7)]
    percents = (
        100 * (masses[0] - masses[1]) / ((1032 + off(6)) * draw.normal(65, 0.5, n))
        / (0.01 * (1 + off(0.02)))
    )  # fmt: skip
    u = math.hypot(0.5 / math.sqrt(3), 0.5 / math.sqrt(12))
    run = draw_down_by_weight(
        Reading(214.6, u), Reading(193.7, u), Reading(1032, 6 / math.sqrt(3)), Reading(65, 0.5),
        Reading(0.01, 0.01 * 0.02 / math.sqrt(3)),
    )  # fmt: skip
    assert np.mean(percents) == pytest.approx(run.percent, rel=2e-3)
    assert np.std(percents) == pytest.approx(run.u_percent, rel=0.01)


# Another liquid in place of concentrate

FOAM = measured(3.2, [Part("bench", 0.05, 4)])
WATER = measured(3.84, [Part("meters", 0.04)])


def test_baseline_run_gives_back_its_own_percent():
    reference = baseline("acceptance, invented", FOAM, WATER, 2.0)
    assert reference.factor == pytest.approx(1 / 1.2)
    result = from_other_liquid(WATER, 2.0, reference)
    assert result.percent == pytest.approx(3.2)
    relative = math.sqrt((0.05 / 3.2) ** 2 + 2 * (0.04 / 3.84) ** 2)
    assert result.u_percent / 3.2 == pytest.approx(relative)
    assert 4 < result.degrees_of_freedom < 100


def test_change_of_the_device_shows_in_proportion():
    reference = Baseline("acceptance, invented", 2.0, 0.83, 0.01)
    later = from_other_liquid(measured(4.2, [Part("meters", 0.04)]), 2.1, reference)
    assert later.percent == pytest.approx(4.2 * 0.83)


def test_baseline_at_another_flow_is_none():
    reference = Baseline("acceptance, invented", 2.0, 0.83, 0.01)
    with pytest.raises(CalcError) as refused:
        from_other_liquid(WATER, 2.3, reference)
    assert refused.value.code == "baseline_at_another_flow"
    assert "15%" in str(refused.value)


def test_all_direct_methods_give_one_kind_of_plain_data():
    reference = Baseline("acceptance, invented", 2.0, 0.83, 0.01)
    results = [
        flow_ratio(Reading(0.06, 0.001, 3), Reading(2.0)),
        draw_down(STANDING, Reading(1.5, 1e-3), Reading(1.4), Reading(60.0), SOLUTION),
        from_other_liquid(WATER, 2.0, reference),
    ]
    for result in results:
        data = json.loads(json.dumps(result.as_dict(), allow_nan=False))
        assert list(data) == ["percent", "standard_uncertainty", "degrees_of_freedom", "interval"]
        assert data["interval"][0] < data["percent"] < data["interval"][1]


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: flow_ratio(Reading(0), SOLUTION), "out_of_range", "concentrate"),
        (lambda: flow_ratio(Reading([1, 2]), Reading([1, 2, 3])), "shapes_differ", "second"),
        (lambda: flow_ratio(Reading(3.0), Reading(2.0)), "out_of_range", "concentrate"),
        (lambda: flow_ratio(Reading(1.0, -1), Reading(2.0)), "out_of_range", "concentrate.u"),
        (lambda: flow_ratio(Reading(1), Reading(2), "pipe"), "unknown_choice", "meter_in"),
        (
            lambda: draw_down(STANDING, Reading(1.4), Reading(1.5), Reading(60), SOLUTION),
            "out_of_range",
            "after",
        ),
        (
            lambda: draw_down(STANDING, Reading(2.4), Reading(1.5), Reading(60), SOLUTION),
            "out_of_range",
            "level",
        ),
        (
            lambda: draw_down(STANDING, Reading(1.5), Reading(1.4), Reading(0), SOLUTION),
            "out_of_range",
            "seconds",
        ),
        (
            lambda: draw_down_by_weight(Reading(1), Reading(2), Reading(1), Reading(1), SOLUTION),
            "out_of_range",
            "after",
        ),
        (lambda: moved_enough(1.0, 0.5, 0), "out_of_range", "resolution"),
        (lambda: seconds_needed(STANDING, 1.5, 1e-3, 1e-3, 0), "out_of_range", "relative"),
        (lambda: baseline("x", FOAM, WATER, 0), "out_of_range", "solution_flow"),
    ],
)
def test_impossible_run_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; give " in str(refused.value)
