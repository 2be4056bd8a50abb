"""Minutes of supply. Expected values are plain arithmetic; figures are invented."""

import pytest

from calc.errors import CalcError
from calc.supply import (
    Demand,
    deck_foam_flow,
    governing,
    minutes_of_supply,
    supply_of,
    volume_needed,
)
from calc.units import FLOW

THOUSAND = 1000 * FLOW["L/min"]


def test_nominal_percent_gives_the_required_time():
    assert minutes_of_supply(0.3, THOUSAND, 3.0) == pytest.approx(10)


def test_two_demands_empty_the_tank_together():
    demands = [Demand("hangar", THOUSAND, 3.0), Demand("apron", 2 * THOUSAND, 3.0)]
    assert supply_of(0.9, demands).minutes == pytest.approx(10)
    assert supply_of(0.9, demands).left == 0


def test_hose_lines_that_stop_leave_the_rest_to_the_system():
    # 0.09 m³/min together for 5 min use 0.45; the other 0.45 last 15 min at 0.03 m³/min.
    demands = [Demand("deck", THOUSAND, 3.0), Demand("hose", 2 * THOUSAND, 3.0, minutes=5)]
    assert supply_of(0.9, demands).minutes == pytest.approx(20)


def test_tank_that_outlasts_every_demand_says_what_is_left():
    supply = supply_of(0.9, [Demand("deck", THOUSAND, 3.0, minutes=10)])
    assert supply.minutes is None
    assert supply.left == pytest.approx(0.6)


def test_what_is_needed_just_lasts():
    demands = [Demand("deck", THOUSAND, 3.3, minutes=10), Demand("hose", THOUSAND, 3.0, minutes=20)]
    needed = volume_needed(demands)
    assert needed == pytest.approx(0.033 * 10 + 0.03 * 20)
    assert supply_of(needed * 1.000001, demands).minutes is None
    assert supply_of(needed * 0.99, demands).minutes == pytest.approx(20 - 0.01 * needed / 0.03)


def test_largest_fire_with_its_hose_lines_governs():
    scenarios = {
        "north": [Demand("north", 2 * THOUSAND, 3.0)],
        "south": [Demand("south a", THOUSAND, 3.9), Demand("south b", THOUSAND, 3.0)],
    }
    name, supply = governing(0.6, scenarios, [Demand("hose", 0.4 * THOUSAND, 3.0)])
    assert name == "south"
    assert supply.minutes == pytest.approx(0.6 / (0.039 + 0.03 + 0.012))


def test_least_left_governs_where_nothing_runs_empty():
    scenarios = {
        "small": [Demand("small", THOUSAND, 3.0, minutes=5)],
        "large": [Demand("large", THOUSAND, 3.0, minutes=9)],
    }
    name, supply = governing(0.6, scenarios)
    assert (name, supply.minutes) == ("large", None)


@pytest.mark.parametrize(
    ("deck", "tank", "monitor", "litres"),
    [(4000, 250, 350, 2400), (2000, 250, 350, 1500), (500, 50, 350, 1250), (500, 50, 600, 1800)],
)
def test_greatest_of_three_rates_governs_a_tanker_deck(deck, tank, monitor, litres):
    assert deck_foam_flow(deck, tank, monitor) / FLOW["L/min"] == pytest.approx(litres)


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: minutes_of_supply(0, 1, 3), "out_of_range", "contents"),
        (lambda: minutes_of_supply(1, -1, 3), "out_of_range", "solution_flow"),
        (lambda: minutes_of_supply(1, 1, 0), "out_of_range", "percent"),
        (lambda: minutes_of_supply(1, float("nan"), 3), "not_finite", "solution_flow"),
        (lambda: minutes_of_supply(1, 1e-300, 1e-300), "beyond_numbers", "solution_flow"),
        (lambda: minutes_of_supply(1e300, 1e-300, 1), "beyond_numbers", "contents"),
        (lambda: supply_of(1, []), "empty_list", "demands"),
        (lambda: supply_of(-1, [Demand("a", 1, 3)]), "out_of_range", "contents"),
        (lambda: supply_of(1, [Demand("a", 1, 3, minutes=0)]), "out_of_range", "minutes"),
        (lambda: volume_needed([]), "empty_list", "demands"),
        (lambda: volume_needed([Demand("a", 1, 3)]), "missing_key", "minutes"),
        (lambda: deck_foam_flow(2000, 0, 350), "out_of_range", "largest_tank_area"),
        (lambda: governing(1, {}), "empty_list", "scenarios"),
    ],
)
def test_impossible_supply_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert isinstance(refused.value, ValueError)
    assert ";" in str(refused.value)
