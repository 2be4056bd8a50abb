"""Readings brought to one temperature. Sizes: IAPWS R9-97 through check-values B-08."""

import pytest

import calc
from calc.form import read
from calc.temperatures import at_one_temperature, line_at_one_temperature, look
from calc.water import water_index
from tests.calc.benches import a_bench, readings, standards, with_samples

SLOPE = 3.0e-4  # per %, an ordinary 3 % concentrate; invented


def index(percent, temperature_c):
    """What an index meter without compensation shows: water moves, the foam on top does not."""
    return float(water_index(temperature_c)) + SLOPE * percent


def bench(sample_c=12.0, percent=3.4, **changes):
    made = [2.0, 3.0, 4.0]
    return a_bench(
        water=readings(index(0, 20.0)),
        standards=standards(made, [index(p, 20.0) for p in made]),
        concentrate=None,
        samples=with_samples(index(percent, sample_c), temperature_c=sample_c),
        **changes,
    )


def warned(data, code):
    return [w for w in calc.evaluate(data).warnings if w.code == code]


def test_correction_takes_the_temperature_out_of_the_percent():
    raw, put_right = calc.evaluate(bench()), calc.evaluate(bench(correct_to_c=20))
    assert raw.samples[0].percent - 3.4 > 1.9  # eight degrees colder reads two points rich
    assert put_right.samples[0].percent == pytest.approx(3.4, abs=1e-6)


@pytest.mark.parametrize("include_water", [True, False])
@pytest.mark.parametrize("warm", ["$.water", "$.standards[0]", "$.standards[2]", "$.samples[0]"])
def test_percent_at_one_temperature_is_near_that_of_a_correction(warm, include_water):
    made = bench(sample_c=20.0, include_water=include_water)
    bottles = {"$.water": made["water"], "$.samples[0]": made["samples"][0]["readings"]}
    bottles |= {f"$.standards[{i}]": s["readings"] for i, s in enumerate(made["standards"])}
    (reading,) = bottles[warm]
    reading["temperature_c"] = 22.0
    as_read, put_right = read(made), calc.evaluate({**made, "correct_to_c": 20}).samples[0].percent
    found = calc.evaluate(made)
    added = look(as_read, found.line.slope).added
    intercept, slope = line_at_one_temperature(as_read, added)
    about = (at_one_temperature([as_read.samples[0].bottle], added) - intercept) / slope
    moved = abs(found.samples[0].percent - put_right)
    # One coefficient over all temperatures against the equation for water: 15 % of the shift.
    assert about == pytest.approx(put_right, abs=0.15 * moved)


def test_correction_is_said_with_its_size_in_points():
    (said,) = warned(bench(correct_to_c=20), "temperature_corrected")
    size = (index(0, 12.0) - index(0, 20.0)) / SLOPE
    assert said.where == "$.samples[0]"
    assert said.values["points"] == pytest.approx(size, rel=1e-6)
    assert said.values["way"] == "down"
    assert "8.0 °C" in said.message


def test_corrected_answer_may_be_settled_and_an_uncorrected_one_not():
    assert calc.evaluate(bench(percent=3.4)).samples[0].certainty == "undecided"
    assert warned(bench(), "temperature_mismatch")
    result = calc.evaluate(bench(sample_c=17.0, correct_to_c=20))
    assert result.samples[0].certainty == "settled"
    assert warned(bench(sample_c=17.0, correct_to_c=20), "temperature_mismatch") == []


def test_a_large_correction_leaves_more_doubt_than_none():
    def half(data):
        low, high = calc.evaluate(data).samples[0].interval
        return high - low

    assert half(bench(sample_c=12.0, correct_to_c=20)) > 1.3 * half(bench(20.0, correct_to_c=20))


def test_common_temperature_that_all_have_changes_nothing():
    plain, same = calc.evaluate(bench(20.0)), calc.evaluate(bench(20.0, correct_to_c=20))
    assert plain.samples[0].percent == pytest.approx(same.samples[0].percent, rel=1e-12)
    assert plain.samples[0].interval == pytest.approx(same.samples[0].interval, rel=1e-12)
    assert same.warnings == ()


def test_which_common_temperature_is_taken_hardly_matters():
    at_20, at_25 = (calc.evaluate(bench(correct_to_c=c)).samples[0].percent for c in (20, 25))
    assert at_20 == pytest.approx(at_25, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "code", "where"),
    [
        (
            {
                "instrument": {
                    "resolution": 1e-5,
                    "repeatability": None,
                    "temperature_compensated": True,
                }
            },
            "corrected_twice",
            "$.correct_to_c",
        ),
        (
            {"samples": with_samples(1.334, temperature_c=None)},
            "temperature_needed",
            "$.samples[0]",
        ),
        ({"samples": with_samples(1.334, temperature_c=45.0)}, "out_of_range", "$.samples[0]"),
        ({"correct_to_c": 41}, "out_of_range", "$.correct_to_c"),
        ({"correct_to_c": "20"}, "not_a_number", "$.correct_to_c"),
        ({"method": "brix", "water": readings(99.0)}, "out_of_range", "$.correct_to_c"),
    ],
)
def test_what_cannot_be_corrected_is_refused(change, code, where):
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate({**bench(20.0, correct_to_c=20), **change})
    assert (refused.value.code, refused.value.where) == (code, where)
    assert refused.value.message


def test_null_means_no_correction():
    assert calc.evaluate(bench(correct_to_c=None)) == calc.evaluate(bench())
