"""Slips of flow, level and supply: what each is worth, and what the engine says to it.

Sizes are arithmetic; which slips are met is common practice, no published source.
"""

import pytest

import calc
from calc.direct import (
    Reading,
    draw_down,
    flow_ratio,
    from_other_liquid,
    moved_enough,
    seconds_needed,
)
from calc.errors import CalcError
from calc.hydraulics import Outlet, outlets_flow, pitot_flow
from calc.measured import Part, measured
from calc.standards import recipe
from calc.supply import minutes_of_supply
from calc.units import FLOW, IMPERIAL_GALLON, PRESSURE, PSI, US_GALLON
from calc.vessels import (
    LEAST_INLET,
    HorizontalCylinder,
    VerticalCylinder,
    capacity,
    level_of,
    usable_volume,
    volume_at,
)
from tests.calc.benches import readings
from tests.calc.pitfalls.bench import answer, shown, true_bench, warned

LITRE_A_MINUTE = FLOW["L/min"]
STANDING = VerticalCylinder(1.2, 2.0)  # invented


@pytest.mark.parametrize(("percent", "of_water"), [(3.0, 3.09), (6.0, 6.38)])
def test_percent_of_water_is_not_percent_of_solution(percent, of_water):
    mixed = recipe(100, percent)
    assert 100 * mixed.concentrate / mixed.water == pytest.approx(of_water, abs=0.005)
    # Where the other meter sits in the water, the engine is told so and gives the solution's.
    concentrate, water = Reading(mixed.concentrate), Reading(mixed.water)
    assert flow_ratio(concentrate, water, "solution").percent == pytest.approx(of_water, abs=0.005)
    assert flow_ratio(concentrate, water, "water").percent == pytest.approx(percent)


def test_tenth_of_pitot_pressure_is_a_twentieth_of_flow():
    right = pitot_flow(0.0635, 0.9, 172e3)
    assert pitot_flow(0.0635, 0.9, 1.1 * 172e3) / right == pytest.approx(1.05, abs=0.002)
    unsure = outlets_flow([Outlet(0.0635, 0.9, 172e3, u_pressure=17.2e3)])
    assert unsure.u_flow / unsure.flow == pytest.approx(0.05)


def test_imperial_for_us_gallons_is_a_fifth_of_the_flow():
    assert pytest.approx(1.20, abs=0.001) == IMPERIAL_GALLON / US_GALLON


@pytest.mark.parametrize(
    ("right", "wrong", "factor"), [("psi", "bar", 3.81), ("kPa", "psi", 2.63), ("bar", "kPa", 0.1)]
)
def test_pressure_in_another_unit_is_a_flow_of_another_size(right, wrong, factor):
    # √(100/6.894757), √6.894757 and √(1/100), by the definitions of the units.
    read = {**PRESSURE, "psi": PSI}
    flows = [pitot_flow(0.0635, 0.9, 25 * read[unit]) for unit in (right, wrong)]
    assert flows[1] / flows[0] == pytest.approx(factor, abs=0.01)


def test_bench_at_72_degrees_is_asked_whether_it_was_fahrenheit():
    sample = [{"name": "design", "readings": readings(shown(3.4), temperature_c=72.0)}]
    bench = true_bench(samples=sample)
    (found,) = warned(bench, "temperature_odd")
    assert found.where == "$.samples[0]"
    assert found.values["temperature"] == 72.0
    assert "°F" in found.message
    assert answer(bench).certainty == "undecided"


def test_too_short_a_draw_down_is_seen_before_it_ends():
    # Ten steps of the sight glass; and a minute leaves 2.7 %, where 1.6 % needs 40 s more.
    assert not moved_enough(1.5, 1.453, 0.005)
    assert moved_enough(1.5, 1.45, 0.005)
    assert moved_enough(0.5, 0.4, 0.01)
    for seconds, share in ((60.0, 0.027), (100.0, 0.016)):
        after = level_of(STANDING, volume_at(STANDING, 1.5) - seconds * 60 * LITRE_A_MINUTE)
        levels = Reading(1.5, 1e-3), Reading(after, 1e-3)
        run = draw_down(STANDING, *levels, Reading(seconds), Reading(2000 * LITRE_A_MINUTE))
        assert run.u_percent / run.percent == pytest.approx(share, abs=5e-4)
    needed = seconds_needed(STANDING, 1.5, 1e-3, 60 * LITRE_A_MINUTE, 0.016)
    assert needed - 60 == pytest.approx(40, abs=1)


def test_water_in_place_of_foam_has_no_percent_without_a_baseline():
    with pytest.raises(CalcError) as refused:
        from_other_liquid(measured(3.84, [Part("meters", 0.04)]), 2.0, None)
    assert refused.value.code == "foam_baseline_missing"
    assert "found with foam at this flow" in refused.value.message


def test_concentrate_below_the_inlet_costs_minutes():
    # A lying tank, 3000 L/min at 3 %: an inlet 25.4 mm up keeps little, at 150 mm a fifteenth.
    tank = HorizontalCylinder(1.2, 3.0)
    flow = 3000 * LITRE_A_MINUTE
    whole = minutes_of_supply(capacity(tank), flow, 3.0)
    low, high = (
        minutes_of_supply(usable_volume(tank, 1.2, inlet), flow, 3.0)
        for inlet in (LEAST_INLET, 0.150)
    )
    assert 0.99 * whole < low < whole
    assert high == pytest.approx(whole * 14 / 15, rel=0.01)


def test_flow_points_stand_for_themselves_in_the_minutes_too():
    # 2.7 and 3.6: 3.15 on average would last 9.5 min, and really it is 11.1 and 8.3.
    samples = [
        {"name": name, "readings": readings(shown(percent))}
        for name, percent in (("minimum", 2.7), ("design", 3.6))
    ]
    found = calc.evaluate(true_bench(samples=samples)).flow_points
    minutes = [minutes_of_supply(0.3, 1000 * LITRE_A_MINUTE, point.percent) for point in found]
    assert minutes == pytest.approx([11.1, 8.33], abs=0.05)
