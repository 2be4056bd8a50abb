"""Two waters of one test, or one water read twice. Sizes: IAPWS R9-97 through check-values B-08."""

import pytest

import calc
from calc.water import water_index
from tests.calc.benches import a_bench, readings

COLD, WARM = (float(water_index(t)) for t in (20.0, 21.0))


def codes(**changes):
    return [w.code for w in calc.evaluate(a_bench(**changes)).warnings]


def certainties(**changes):
    return {r.certainty for r in calc.evaluate(a_bench(**changes)).flow_points}


@pytest.mark.parametrize("key", ["water_again", "test_water"])
def test_water_that_reads_the_same_is_not_warned_of(key):
    again = {key: readings(1.33301, 1.33302)}
    assert codes(**again) == []
    plain, more = calc.evaluate(a_bench()), calc.evaluate(a_bench(**again))
    assert [r.percent for r in more.samples] == [r.percent for r in plain.samples]
    assert more.inputs_digest != plain.inputs_digest


@pytest.mark.parametrize(
    ("key", "code"), [("water_again", "water_drifted"), ("test_water", "waters_differ")]
)
def test_water_a_degree_away_opens_every_answer_and_says_its_size(key, code):
    # The meter stands where it stood, and the same bottle has warmed by a degree: 0.9e-4.
    other = {key: readings(1.33302 + WARM - COLD)}
    (warned,) = calc.evaluate(a_bench(**other)).warnings
    slope = calc.evaluate(a_bench()).line.slope
    assert (warned.code, warned.where, warned.values["way"]) == (code, f"$.{key}", "lower")
    assert warned.values["points"] == pytest.approx((COLD - WARM) / slope, rel=0.07)
    assert certainties(**other) == {"undecided"}


def test_waters_read_at_two_temperatures_are_compared_at_one():
    warm = readings(1.333015 + WARM - COLD, temperature_c=21.0)
    assert codes(test_water=warm) == []
    assert codes(water_again=warm) == ["water_drifted"]  # the bench itself has warmed


def test_correction_to_one_temperature_takes_the_warmth_out_of_both():
    warm = readings(1.333015 + WARM - COLD, temperature_c=21.0)
    found = codes(test_water=warm, water_again=warm, correct_to_c=20)
    assert set(found) == {"temperature_corrected"} or found == []


def test_compensating_meter_is_not_corrected_again():
    meter = {**a_bench()["instrument"], "temperature_compensated": True}
    warm = readings(1.333015, temperature_c=25.0)
    assert codes(test_water=warm, instrument=meter) == []


def test_difference_of_a_step_is_chance_however_steep_the_line():
    assert codes(water_again=readings(1.33302)) == []


def test_tenth_of_the_band_is_let_pass_where_a_fine_meter_sees_it():
    meter = {**a_bench()["instrument"], "resolution": 1e-7, "repeatability": 1e-7}
    slope = calc.evaluate(a_bench()).line.slope
    for points, expected in ((0.08, False), (0.1, True)):
        water = readings(1.333015 + points * slope)
        assert ("water_drifted" in codes(water_again=water, instrument=meter)) is expected


@pytest.mark.parametrize("key", ["water_again", "test_water"])
def test_broken_reading_is_refused_at_its_place(key):
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(a_bench(**{key: [{"value": "1.333", "temperature_c": None}]}))
    assert refused.value.where == f"$.{key}[0].value"


def test_repeats_of_the_other_waters_teach_the_scatter_too():
    rough = readings(1.33299, 1.33304, 1.33301, 1.33305)
    plain, more = calc.evaluate(a_bench()), calc.evaluate(a_bench(water_again=rough))
    assert more.samples[0].standard_uncertainty > plain.samples[0].standard_uncertainty


@pytest.mark.parametrize("key", ["water_again", "test_water"])
def test_meter_beyond_the_range_of_numbers_is_refused_at_the_other_water(key):
    meter = {**a_bench()["instrument"], "repeatability": 1.7e308}
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(a_bench(instrument=meter, **{key: readings(1.33301)}))
    assert (refused.value.code, refused.value.where) == ("beyond_numbers", f"$.{key}")
