"""Slips at the instrument: what each is worth in percent, and the warning that it raises.

Sizes follow from the two slopes and the water index of IAPWS R9-97 (check values B-08: -0.88e-4
per °C about 20 °C, -1.05e-4 about 25 °C). Thresholds are common practice, no published source.
"""

import pytest

import calc
from calc.acceptance import custom_band
from calc.mixing import mixing_line, steps_in_band
from calc.readings import at_temperature
from tests.calc.benches import a_bench, readings, standards
from tests.calc.pitfalls.bench import (
    FLAT,
    METER,
    STEEP,
    WATER,
    answer,
    codes,
    in_steps,
    shown,
    slope,
    true_bench,
    warned,
)

SIZES = pytest.mark.parametrize(
    ("concentrate", "least", "most"), [(STEEP, 0.29, 0.35), (FLAT, 0.52, 0.62)]
)


def sample_read_at(temperature, concentrate=STEEP, sample=3.4, **changes):
    """A sample read at another temperature than all other bottles, which stand at 20 °C."""
    there = at_temperature("refractive_index", shown(sample, concentrate), 20, temperature).reading
    value = readings(there, temperature_c=temperature)
    return true_bench(concentrate, samples=[{"name": "design", "readings": value}], **changes)


# Temperature


@SIZES
def test_one_degree_between_standards_and_sample_is_named_with_its_size(concentrate, least, most):
    (found,) = warned(sample_read_at(21.0, concentrate), "temperature_mismatch")
    assert found.where == "$.samples[0]"
    assert least - 0.005 <= found.values["points"] <= most + 0.005
    assert f"{found.values['points']:.2g} points" in found.message


@SIZES
def test_one_degree_really_moves_the_answer_by_that_much(concentrate, least, most):
    moved = 3.4 - answer(sample_read_at(21.0, concentrate)).percent
    assert least - 0.005 <= moved <= most + 0.005


@pytest.mark.parametrize(("concentrate", "points"), [(STEEP, 0.9), (FLAT, 1.6)])
def test_warm_van_and_cold_samples_settle_nothing(concentrate, points):
    # 3 °C apart: nearly one point, or nearly two. A sample in the band reads lean when it is warm.
    bench = sample_read_at(23.0, concentrate)
    (found,) = warned(bench, "temperature_mismatch")
    assert found.values["points"] == pytest.approx(points, abs=0.2)
    assert (found.values["side"], found.values["looks"]) == ("warmer", "leaner")
    assert (answer(bench).limits, answer(bench).certainty) == ("lean", "undecided")


@pytest.mark.parametrize("concentrate", [STEEP, FLAT])
@pytest.mark.parametrize("temperature", [12.0, 17.0, 23.0, 28.0])
def test_correction_to_one_temperature_gives_the_percent_back(concentrate, temperature):
    bench = sample_read_at(temperature, concentrate, correct_to_c=20)
    assert answer(bench).percent == pytest.approx(3.4, abs=1e-6)
    assert codes(calc.evaluate(bench)) == {"temperature_corrected"}


@pytest.mark.parametrize(
    ("temperature", "way", "looks"), [(15.0, "down", "richer"), (25.0, "up", "leaner")]
)
def test_direction_of_the_correction_stands_in_words(temperature, way, looks):
    # With the wrong sign the error would double: the words say which way it went.
    (mismatch,) = warned(sample_read_at(temperature), "temperature_mismatch")
    (correction,) = warned(sample_read_at(temperature, correct_to_c=20), "temperature_corrected")
    assert mismatch.values["looks"] == looks
    assert correction.values["way"] == way
    assert f"moves it {way}" in correction.message


def test_typed_readings_stay_raw_under_a_correction():
    plain, moved = sample_read_at(25.0), sample_read_at(25.0, correct_to_c=20)
    assert plain["samples"] == moved["samples"]
    assert calc.evaluate(plain).inputs_digest != calc.evaluate(moved).inputs_digest
    assert calc.evaluate(moved).engine_version == calc.__version__


def test_compensating_meter_is_asked_for_temperatures_all_the_same():
    bench = true_bench(instrument={**METER, "temperature_compensated": True})
    bench["samples"][0]["readings"] = readings(shown(3.4), temperature_c=None)
    (found,) = warned(bench, "temperature_unknown")
    assert found.where == "$.samples[0]"


def test_compensating_meter_is_never_corrected_a_second_time():
    bench = true_bench(instrument={**METER, "temperature_compensated": True}, correct_to_c=20)
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert refused.value.code == "corrected_twice"


# Steps of the display


@pytest.mark.parametrize(("concentrate", "step", "steps"), [(STEEP, 0.33, 2.7), (FLAT, 0.59, 1.5)])
def test_step_of_a_four_decimal_meter_is_named_with_its_size(concentrate, step, steps):
    bench = true_bench(concentrate)  # readings between the steps, so that the slope is the true one
    bench["instrument"] = {**bench["instrument"], "resolution": 1e-4}
    (found,) = warned(bench, "resolution_coarse")
    assert found.values["step"] == pytest.approx(step, abs=0.005)
    assert found.values["width"] / found.values["step"] == pytest.approx(steps, abs=0.05)


@pytest.mark.parametrize(("concentrate", "step"), [(STEEP, 0.03), (FLAT, 0.06)])
def test_step_of_a_five_decimal_meter_is_small_enough(concentrate, step):
    assert 1e-5 / slope(concentrate) == pytest.approx(step, abs=0.005)
    assert warned(true_bench(concentrate), "resolution_coarse") == []


@pytest.mark.parametrize("concentrate", [STEEP, FLAT])
def test_interval_by_four_decimals_is_never_below_the_rounding_of_the_sample_alone(concentrate):
    # JCGM 100:2008, F.2.2.1: a display rounded to steps has a standard uncertainty of 0.29 steps.
    def half(bench):
        low, high = answer(bench).interval
        return (high - low) / 2

    by_rounding = 2 * 0.29 * 1e-4 / slope(concentrate)
    assert half(in_steps(true_bench(concentrate, sample=3.45), 1e-4)) > by_rounding
    assert half(true_bench(concentrate, sample=3.45)) < by_rounding


def test_one_percent_system_is_out_of_reach_of_four_decimals():
    percents = (0.5, 1.0, 2.0)
    made = standards(list(percents), [shown(p) for p in percents])
    bench = in_steps(true_bench(sample=1.15, nominal_percent=1.0, standards=made), 1e-4)
    (found,) = warned(bench, "resolution_coarse")
    assert found.values["step"] > found.values["width"]
    low, high = answer(bench).interval
    assert high - low > 2 * found.values["width"]


@pytest.mark.parametrize("resolution", [1e-4, 1e-5])
def test_concentrate_that_hardly_changes_the_index_cannot_be_judged(resolution):
    # 1.3345 undiluted, as some protein and fluorine-free liquids: 1.5e-5 per percent (invented).
    bench = in_steps(true_bench(1.3345), resolution)
    assert warned(bench, "resolution_coarse")
    assert answer(bench).certainty == "undecided"
    beforehand = mixing_line(WATER, 1.3345, 1e-5, 1e-5)
    assert steps_in_band(beforehand, resolution, custom_band(3, 3.9)) < 3


def test_property_that_does_not_change_at_all_is_refused():
    bench = true_bench(standards=standards([2, 3, 4], [WATER] * 3))
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert refused.value.code == "flat_line"


# Drops and scales


def test_bubble_on_the_prism_is_seen_in_the_repeats_which_are_all_kept():
    # Two steps of a four-decimal scale low (invented): two thirds of a point, a third of that in
    # the mean of three drops.
    drops = readings(shown(3.4), shown(3.4) - 2e-4, shown(3.4))
    bench = true_bench(samples=[{"name": "design", "readings": drops}])
    (found,) = warned(bench, "repeats_apart")
    assert (found.where, found.values["count"]) == ("$.samples[0]", 3)
    assert "keep every reading" in found.message
    assert 3.4 - answer(bench).percent == pytest.approx(2e-4 / slope(STEEP) / 3, abs=1e-6)


def test_prism_not_washed_after_the_concentrate_shows_in_the_first_drop():
    # One part in a hundred of concentrate left on the prism is one point, whatever its index.
    first = shown(3.4) + (STEEP - shown(3.4)) / 100
    bench = true_bench(samples=[{"name": "design", "readings": readings(first, shown(3.4))}])
    assert (first - shown(3.4)) / slope(STEEP) == pytest.approx(1, abs=0.05)
    (found,) = warned(bench, "repeats_apart")
    assert found.where == "$.samples[0]"
    assert "not washed" in found.message


def test_brix_in_the_column_of_the_index_is_asked_about():
    bench = true_bench(samples=[{"name": "design", "readings": readings(4.2)}])
    (found,) = warned(bench, "not_an_index")
    assert found.where == "$.samples[0]"
    assert "Brix" in found.message
    assert answer(bench).certainty == "undecided"


def test_index_in_the_column_of_brix_is_asked_about_and_never_converted():
    # 1.3391 as Brix would be 6.5 points on a scale of 0.2 % Brix a point.
    bench = true_bench(method="brix")
    (found,) = warned(bench, "index_as_brix")
    assert found.where == "$.water"
    assert answer(bench).percent == pytest.approx(3.4, abs=1e-6)
    assert answer(bench).certainty == "undecided"


# Water, and what salt does


def test_water_of_the_test_must_be_read():
    bench = true_bench()
    del bench["water"]
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert (refused.value.code, refused.value.where) == ("missing_key", "$.water")


def test_zero_set_with_other_water_moves_nothing_when_the_test_water_is_read():
    # A zero that is off moves every bottle alike, water too, and so no percent.
    plain, off = true_bench(), true_bench(water=readings(WATER + 2e-4))
    for bottle in (*off["standards"], *off["samples"]):
        bottle["readings"] = readings(bottle["readings"][0]["value"] + 2e-4)
    assert answer(off).percent == pytest.approx(answer(plain).percent, abs=1e-9)


@pytest.mark.parametrize(("concentrate", "points"), [(STEEP, 0.6), (FLAT, 1.1)])
def test_gram_of_salt_between_two_waters_is_worth_more_than_half_the_band(concentrate, points):
    # 1.8e-4 per g/kg (fit of published tables of sea water, second-hand). Standards from the tap
    # without their water in the line, sample from the pond.
    sample = [{"name": "design", "readings": readings(shown(3.4, concentrate) + 1.8e-4)}]
    apart = answer(true_bench(concentrate, samples=sample, include_water=False)).percent - 3.4
    assert apart == pytest.approx(points, abs=0.05)


@pytest.mark.parametrize("concentrate", [STEEP, FLAT])
def test_pond_read_as_water_of_tap_standards_leaves_the_answer_open(concentrate):
    sample = [{"name": "design", "readings": readings(shown(3.4, concentrate) + 1.8e-4)}]
    bench = true_bench(concentrate, samples=sample, water=readings(WATER + 1.8e-4))
    assert "standards_weak" in codes(calc.evaluate(bench))
    assert answer(bench).certainty == "undecided"


@pytest.mark.parametrize(("concentrate", "points"), [(STEEP, 0.6), (FLAT, 1.1)])
def test_pond_beside_the_tap_of_the_standards_is_named_with_its_size(concentrate, points):
    sample = [{"name": "design", "readings": readings(shown(3.4, concentrate) + 1.8e-4)}]
    bench = true_bench(concentrate, samples=sample, test_water=readings(WATER + 1.8e-4))
    (found,) = warned(bench, "waters_differ")
    assert found.values["points"] == pytest.approx(points, abs=0.05)
    assert found.values["way"] == "higher"
    assert answer(bench).certainty == "undecided"


def salty_bench(*values, resolution=10.0, **changes):
    """Conductivity in µS/cm of water and three standards; invented."""
    water, *rest = values
    return a_bench(
        method="conductivity",
        instrument={
            "resolution": resolution,
            "repeatability": None,
            "temperature_compensated": False,
        },
        water=readings(water),
        standards=standards([2, 3, 4], rest),
        concentrate=None,
        **changes,
    )


def test_conductivity_that_falls_in_the_sea_is_refused_with_the_way_out():
    bench = salty_bench(50_000, 49_000, 48_500, 48_000, samples=a_bench()["samples"])
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert refused.value.code == "falling_conductivity"
    assert "refractive index" in refused.value.message


def test_degree_in_brackish_water_is_worth_many_points():
    # 2 % per °C (check values C-09) of 50 mS/cm against 0.1 mS/cm per percent: ten points.
    sample = [{"name": "design", "readings": readings(50_340, temperature_c=21.0)}]
    (found,) = warned(
        salty_bench(50_000, 50_200, 50_300, 50_400, samples=sample), "temperature_mismatch"
    )
    assert found.values["points"] == pytest.approx(10, abs=0.5)
    assert found.values["looks"] == "richer"


def test_part_of_a_degree_in_brackish_water_is_warned_of_too():
    # 0.9 °C is worth nine points there, though under the usual degree.
    sample = [{"name": "design", "readings": readings(50_340, temperature_c=20.9)}]
    bench = salty_bench(50_000, 50_200, 50_300, 50_400, samples=sample)
    (found,) = warned(bench, "temperature_mismatch")
    assert found.values["points"] == pytest.approx(9, abs=0.5)
    assert "temperature_decides" in codes(calc.evaluate(bench))
    assert answer(bench).certainty == "undecided"


def test_signal_below_the_steps_of_a_salty_background_is_called_coarse():
    # A meter in its range for sea water shows hundreds of µS/cm (invented).
    sample = [{"name": "design", "readings": readings(50_300)}]
    bench = salty_bench(50_000, 50_200, 50_300, 50_400, resolution=100.0, samples=sample)
    (found,) = warned(bench, "resolution_coarse")
    assert found.values["step"] == pytest.approx(1.0)


@pytest.mark.parametrize(("value", "side"), [(0.86, "lean"), (860_000.0, "rich")])
def test_reading_in_another_range_is_flagged_and_never_converted(value, side):
    # 860 µS/cm and 0.86 mS/cm are the same; typed into one column they are a factor 1000 apart.
    bench = salty_bench(
        400,
        640,
        760,
        880,
        resolution=1.0,
        samples=[{"name": "design", "readings": readings(value)}],
    )
    (found,) = warned(bench, "extrapolation")
    assert found.values["beyond"] > 3
    assert answer(bench).limits == side
