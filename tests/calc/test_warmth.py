"""Temperatures between the bottles: when they are warned of and what they leave open. Invented."""

import pytest

import calc
from calc.temperatures import BRIX_PER_C, CONDUCTIVITY_PER_C, INDEX_PER_C
from tests.calc.benches import a_bench, certainties, found, places, readings, with_samples
from tests.calc.published.rows import ROWS


def warm_sample(temperature_c, **instrument):
    bench = a_bench()
    bench["samples"][2]["readings"] = readings(1.33396, temperature_c=temperature_c)
    bench["instrument"].update(instrument)
    return bench


@pytest.mark.parametrize("temperature", [19.0, 21.0, 23.0, 15.5])
def test_one_degree_from_the_standards_is_a_mismatch(temperature):
    assert places(warm_sample(temperature), "temperature_mismatch") == ["$.samples[2]"]


@pytest.mark.parametrize("temperature", [19.5, 20.0, 20.5])
def test_less_than_one_degree_is_none(temperature):
    assert places(warm_sample(temperature), "temperature_mismatch") == []


def test_less_than_one_degree_counts_where_it_is_worth_over_a_third_of_the_band():
    # 1e-4 per °C (check-values B-08) over a slope of 2.9e-4 per %: 0.3 points are 0.87 °C.
    assert places(warm_sample(20.85), "temperature_mismatch") == []
    (warned,) = found(warm_sample(20.9), "temperature_mismatch")
    assert 0.3 < warned.values["points"] < 0.4


def test_answer_that_turns_with_the_temperature_is_open_and_says_so():
    # 3.25 % read warm looks leaner than it is: 0.65 points more and it is rich.
    stays, turns = warm_sample(21.7), warm_sample(22.1)
    assert places(stays, "temperature_decides") == []
    assert certainties(stays) == (["settled"] * 3, ["settled"] * 2)
    (warned,) = found(turns, "temperature_decides")
    assert warned.where == "$.samples[2]"
    assert (warned.values["limits"], warned.values["limits_at_one"]) == ("in band", "rich")
    assert certainties(turns) == (["settled", "settled", "undecided"], ["settled", "undecided"])


def test_mismatch_of_exactly_one_degree_survives_binary_dust():
    assert 22.6 - (21.6 + 21.6 + 21.6) / 3 < 1.0  # what binary arithmetic makes of one degree
    bench = a_bench(samples=with_samples(1.33396, temperature_c=22.6))
    for standard in bench["standards"]:
        standard["readings"] = [{**standard["readings"][0], "temperature_c": 21.6}]
    assert "$.samples[0]" in places(bench, "temperature_mismatch")


def test_mismatch_says_degrees_and_points():
    (warned,) = found(warm_sample(22.0), "temperature_mismatch")
    # Water index changes by about -1e-4 per °C (check-values B-08); over the slope of this bench.
    slope = calc.evaluate(a_bench()).line.slope
    assert warned.values["apart"] == pytest.approx(2.0)
    assert warned.values["points"] == pytest.approx(2 * 1e-4 / slope, rel=0.06)
    assert "2.0 °C warmer" in warned.message
    assert "leaner" in warned.message


def test_coefficients_lie_within_the_published_ones():
    around_20, around_25 = ROWS["B-08"]["expected"]["dn_dT_per_K"]
    assert around_25 < INDEX_PER_C < around_20
    at = ROWS["B-05"]
    row = at["inputs"]["t_degC"].index(15)
    per_c = at["expected"]["correction"][row] / (20 - 15)
    assert pytest.approx(per_c, abs=0.005) == BRIX_PER_C
    assert pytest.approx(ROWS["C-09"]["expected"]["alpha"][0], abs=0.002) == CONDUCTIVITY_PER_C


def test_compensating_instrument_gives_no_mismatch():
    bench = warm_sample(29.0, temperature_compensated=True)
    assert places(bench, "temperature_mismatch") == []
    assert certainties(bench)[0] == ["settled"] * 3


@pytest.mark.parametrize(("temperature", "certainty"), [(17.1, "settled"), (17.0, "undecided")])
def test_three_degrees_leave_only_the_results_open_that_rest_on_the_bottle(temperature, certainty):
    # Plainly lean, and colder than the standards: at one temperature it would be leaner still.
    bench = warm_sample(temperature)
    bench["samples"][2]["readings"][0]["value"] = 1.33350
    assert places(bench, "temperature_decides") == []
    assert certainties(bench) == (
        ["settled", "settled", certainty],
        ["settled", certainty],
    )


def test_one_warm_bottle_leaves_its_whole_flow_point_open():
    bench = a_bench()
    bench["samples"][0]["readings"] = readings(1.33401, temperature_c=24.0)
    assert certainties(bench) == (
        ["undecided", "settled", "settled"],
        ["undecided", "settled"],
    )


def test_water_three_degrees_off_leaves_everything_open_while_it_is_in_the_fit():
    bench = a_bench(water=readings(1.33301, temperature_c=16.0))
    assert certainties(bench) == (["undecided"] * 3, ["undecided"] * 2)
    assert "$.water" in places(bench, "temperature_mismatch")


def test_mean_temperature_of_a_bottle_counts():
    bench = a_bench()
    bench["samples"][2]["readings"] = [
        {"value": 1.33396, "temperature_c": 19.0},
        {"value": 1.33396, "temperature_c": 21.5},
    ]
    assert places(bench, "temperature_mismatch") == []


def test_missing_temperature_is_named_by_its_bottle():
    bench = a_bench()
    bench["samples"][1]["readings"] = readings(1.33399, temperature_c=None)
    assert places(bench, "temperature_unknown") == ["$.samples[1]"]
    assert certainties(bench)[0] == ["settled"] * 3


def test_no_temperature_at_all_is_said_once():
    bench = a_bench(
        water=readings(1.33301, temperature_c=None),
        samples=with_samples(1.33396, 1.33399, temperature_c=None),
    )
    for standard in bench["standards"]:
        for reading in standard["readings"]:
            reading["temperature_c"] = None
    assert places(bench, "temperature_unknown") == ["$"]


@pytest.mark.parametrize(("temperature", "asked"), [(20.0, False), (72.0, True), (-20.0, True)])
def test_temperature_that_no_bench_has_is_asked_about(temperature, asked):
    bench = warm_sample(temperature, temperature_compensated=True)
    assert places(bench, "temperature_odd") == (["$.samples[2]"] if asked else [])
