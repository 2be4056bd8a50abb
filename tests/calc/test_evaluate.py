"""The evaluation of one test: percents, flow points, limits, certainty and the form of the result.

Figures of the bench session below: common practice, no published source. All other benches are
invented.
"""

from decimal import Decimal

import pytest

import calc
from calc.line import fit_line
from tests.calc.benches import a_bench, readings, standards, with_samples

COARSE = {"resolution": 0.0001, "repeatability": None, "temperature_compensated": False}


def session(*values: float, **changes):
    """Common practice, no published source: water, three standards, undiluted concentrate."""
    return calc.evaluate(
        a_bench(
            instrument=COARSE,
            water=readings(1.3331),
            standards=standards([2, 3, 4], [1.3334, 1.3335, 1.3338]),
            concentrate=readings(1.3511),
            samples=with_samples(*values),
            **changes,
        )
    )


def test_bench_session_gives_the_least_squares_line():
    line = session(1.3337).line
    assert line.slope == pytest.approx(1.65714e-4, abs=5e-10)
    assert line.intercept == pytest.approx(1.33307714, abs=5e-9)
    assert line.degrees_of_freedom == 2


@pytest.mark.parametrize(
    ("reading", "percent", "stated"),
    [(1.3337, 3.759, "in band"), (1.3338, 4.362, "rich"), (1.3340, 5.569, "rich")],
)
def test_bench_session_reads_off_the_stored_reading(reading, percent, stated):
    (sample,) = session(reading).samples
    assert sample.percent == pytest.approx(percent, abs=5e-4)
    assert sample.limits == stated


def test_slip_of_the_bench_session_is_flagged_beyond_the_last_standard():
    result = session(1.3340)
    assert ("extrapolation", "$.samples[0]") in {(w.code, w.where) for w in result.warnings}
    assert result.samples[0].certainty == "undecided"


def test_result_has_the_promised_keys_and_no_other():
    result = calc.evaluate(a_bench()).as_dict()
    assert list(result) == [
        *["line", "band", "samples", "flow_points", "lack_of_fit", "mixing", "warnings"],
        *["engine_version", "inputs_digest"],
    ]
    assert set(result["line"]) == {
        *["slope", "intercept", "r", "residual_sd", "degrees_of_freedom"],
    }
    assert result["band"] == {"lower": 3.0, "upper": 3.9}
    own = {
        *["name", "percent", "standard_uncertainty", "degrees_of_freedom", "interval", "limits"],
        *["probability_in_band", "probability_of_limits", "certainty"],
    }
    assert all(set(flow_point) == own for flow_point in result["flow_points"])
    assert all(set(sample) == own | {"flow_point"} for sample in result["samples"])
    assert result["warnings"] == []
    assert result["engine_version"] == calc.__version__
    assert len(result["inputs_digest"]) == 64


def test_readings_of_one_bottle_are_averaged_before_the_fit():
    result = calc.evaluate(a_bench())
    expected = fit_line([0, 2, 3, 4], [1.333015, 1.333595, 1.33389, 1.334175])
    assert result.line.slope == pytest.approx(expected.slope, rel=1e-9)
    assert result.line.residual_sd == pytest.approx(expected.residual_sd, rel=1e-6)
    assert result.line.degrees_of_freedom == 2  # four bottles, though seven readings


def test_standard_made_from_volumes_has_its_as_made_percent():
    by_volume = calc.evaluate(a_bench())
    named = a_bench()
    named["standards"][1] = {"percent": 3.0, "readings": readings(1.33389)}
    assert by_volume.line == calc.evaluate(named).line


def test_flow_point_is_the_mean_of_its_own_bottles_only():
    result = calc.evaluate(a_bench())
    one, two, three = result.samples
    minimum, design = result.flow_points
    assert [point.name for point in result.flow_points] == ["minimum", "design"]
    assert minimum.percent == pytest.approx((one.percent + two.percent) / 2, rel=1e-12)
    assert design.percent == three.percent
    assert minimum.standard_uncertainty < one.standard_uncertainty
    assert design.standard_uncertainty == three.standard_uncertainty


def test_flow_point_weighs_bottles_and_not_readings():
    samples = with_samples(1.33390, 1.33400)
    samples[0]["readings"] = readings(1.33390, 1.33390, 1.33390)
    for sample in samples:
        sample["flow_point"] = "design"
    result = calc.evaluate(a_bench(samples=samples))
    mean = sum(sample.percent for sample in result.samples) / 2
    assert result.flow_points[0].percent == pytest.approx(mean, rel=1e-12)


def test_flow_point_defaults_to_the_name_of_the_sample():
    result = calc.evaluate(a_bench(samples=with_samples(1.33390, 1.33400)))
    assert [sample.flow_point for sample in result.samples] == ["bottle 1", "bottle 2"]
    assert [point.name for point in result.flow_points] == ["bottle 1", "bottle 2"]


def test_uncertainty_is_never_below_the_textbook_s():
    # Eurachem/CITAC QUAM A5, E3.5 with the residual scatter, where a slip makes that large.
    slip = a_bench(
        standards=standards([2, 3, 4, 5], [1.3336, 1.3342, 1.3341, 1.3347]), concentrate=None
    )
    result = calc.evaluate(slip)
    x, sample = [0, 2, 3, 4, 5], result.samples[2]
    mean = sum(x) / 5
    spread = sum((percent - mean) ** 2 for percent in x)
    share = 1 + 1 / 5 + (sample.percent - mean) ** 2 / spread
    textbook = result.line.residual_sd / result.line.slope * share**0.5
    assert sample.standard_uncertainty >= textbook * (1 - 1e-12)


def test_interval_is_two_standard_uncertainties_to_each_side():
    for one in calc.evaluate(a_bench()).samples:
        half = (one.interval[1] - one.interval[0]) / 2
        assert half == pytest.approx(2 * one.standard_uncertainty, rel=1e-9)
        assert one.degrees_of_freedom in range(4, 21, 2)


def test_water_can_be_left_out_of_the_fit_but_not_off_the_bench():
    result = calc.evaluate(a_bench(include_water=False))
    assert result.line.degrees_of_freedom == 1
    expected = fit_line([2, 3, 4], [1.333595, 1.33389, 1.334175])
    assert result.line.intercept == pytest.approx(expected.intercept, rel=1e-12)
    bench = a_bench(include_water=False)
    del bench["water"]
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert (refused.value.code, refused.value.where) == ("missing_key", "$.water")


def test_two_standards_and_water_are_enough():
    bench = a_bench(standards=standards([3, 4], [1.33389, 1.33417]))
    result = calc.evaluate(bench)
    assert result.line.degrees_of_freedom == 1
    assert result.warnings == ()  # three points say nothing about bends or slips


@pytest.mark.parametrize(
    "changes",
    [
        {"include_water": False, "standards": standards([3, 4], [1.33389, 1.33417])},
        {"standards": standards([3, 3], [1.33389, 1.33390])},
        {"standards": standards([3, 3 + 1e-10], [1.33389, 1.33390])},
        {
            "standards": [
                {"concentrate_ml": 0, "water_ml": 100, "readings": readings(1.33301)},
                {"percent": 3, "readings": readings(1.33389)},
            ]
        },
    ],
)
def test_fewer_than_three_different_percents_are_refused(changes):
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(a_bench(**changes))
    assert (refused.value.code, refused.value.where) == ("too_few_percents", "$.standards")


def test_custom_limits_take_the_place_of_the_common_rule():
    # Limits for a ship, 2.7 to 3.9 % (IMO MSC.1/Circ.1432, check-values G-03): 2.8 % is inside.
    bench = a_bench(samples=with_samples(1.33383))
    assert calc.evaluate(bench).samples[0].limits == "lean"
    ship = calc.evaluate({**bench, "criterion": {"lower": 2.7, "upper": 3.9}})
    assert ship.samples[0].limits == "in band"
    assert ship.band == (2.7, 3.9)


def exact_bench(**changes):
    """Readings that are exactly 100 + 10 × percent, so that a sample can lie on a limit."""
    return a_bench(
        method="conductivity",
        instrument={**COARSE, "resolution": 0.01, "temperature_compensated": True},
        water=readings(100.0),
        standards=standards([2, 3, 4], [120.0, 130.0, 140.0]),
        concentrate=None,
        **changes,
    )


def test_sample_on_a_limit_is_in_band_and_undecided():
    result = calc.evaluate(exact_bench(samples=with_samples(139.0, 130.0, 139.0001)))
    on_upper, on_lower, beyond = result.samples
    assert on_upper.percent == pytest.approx(3.9, abs=1e-12)
    assert (on_upper.limits, on_lower.limits, beyond.limits) == ("in band", "in band", "rich")
    assert on_upper.certainty == on_lower.certainty == beyond.certainty == "undecided"


def test_certainty_hangs_on_the_probability_asked_for():
    bench = exact_bench(samples=with_samples(138.99))
    (sample,) = calc.evaluate({**bench, "verdict_probability": 0.5}).samples
    assert 0.5 < sample.probability_of_limits < 1
    assert sample.certainty == "settled"
    (strict,) = calc.evaluate({**bench, "verdict_probability": 0.999}).samples
    assert strict.certainty == "undecided"
    assert strict.probability_of_limits == sample.probability_of_limits


def test_default_probability_is_three_quarters():
    bench = exact_bench(samples=with_samples(138.99))
    given, left_out = calc.evaluate({**bench, "verdict_probability": 0.75}), calc.evaluate(bench)
    assert given == left_out


def test_simple_acceptance_is_never_undecided():
    samples = with_samples(139.0, 145.0, temperature_c=29.0)
    bench = exact_bench(samples=samples, verdict_probability=None)
    bench["instrument"]["temperature_compensated"] = False
    result = calc.evaluate(bench)
    codes = {warned.code for warned in result.warnings}
    assert {"temperature_mismatch", "extrapolation"} <= codes  # they stay beside the result
    assert {sample.certainty for sample in result.samples + result.flow_points} == {"settled"}


def test_concentrate_is_in_the_digest_and_not_in_the_percents():
    with_it, without = calc.evaluate(a_bench()), calc.evaluate(a_bench(concentrate=None))
    assert with_it.inputs_digest != without.inputs_digest
    assert (with_it.line, with_it.samples) == (without.line, without.samples)


def test_digest_covers_the_form_after_defaults():
    plain = calc.evaluate(a_bench(samples=with_samples(1.33396)))
    spelt_out = a_bench(
        samples=[{"name": "bottle 1", "flow_point": "bottle 1", "readings": readings(1.33396)}],
        include_water=True,
        fit="ordinary",
        verdict_probability=0.75,
    )
    assert calc.evaluate(spelt_out).inputs_digest == plain.inputs_digest
    changed = calc.evaluate({**spelt_out, "verdict_probability": 0.76})
    assert changed.inputs_digest != plain.inputs_digest


def test_digest_does_not_depend_on_how_a_number_is_written():
    digests = {
        calc.evaluate(a_bench(nominal_percent=nominal)).inputs_digest
        for nominal in (3, 3.0, Decimal("3.0"), Decimal("3.00"))
    }
    assert len(digests) == 1


def test_decimals_are_taken_as_typed():
    bench = a_bench(samples=with_samples(1.33396), nominal_percent=Decimal("2.75"))
    bench["samples"][0]["readings"] = readings(Decimal("1.33396"))
    assert calc.evaluate(bench).band == (2.75, 3.575)


def test_result_is_frozen():
    result = calc.evaluate(a_bench())
    with pytest.raises(AttributeError):
        result.samples[0].percent = 3.0


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"water": readings(1.3341), "standards": standards([2, 3, 4], [1.3341] * 3)}, "flat_line"),
        ({"water": readings(0.0), "standards": standards([2, 3, 4], [0.0] * 3)}, "flat_line"),
        ({"standards": standards([2, 3, 4], [1.3329, 1.3328, 1.3327])}, "falling_line"),
    ],
)
def test_line_that_does_not_rise_is_refused(changes, code):
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(a_bench(**changes))
    assert (refused.value.code, refused.value.where) == (code, "$.standards")


def test_falling_conductivity_is_told_to_use_the_index():
    # Fresh concentrate in sea water thins the salt: about 50,000 µS/cm falls as percent rises.
    bench = exact_bench(samples=with_samples(49500.0))
    bench["water"] = readings(50000.0)
    bench["standards"] = standards([2, 3, 4], [49400.0, 49100.0, 48800.0])
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert refused.value.code == "falling_conductivity"
    assert "refractive index" in refused.value.message


@pytest.mark.parametrize("size", [1e308, 1e200, 1e-320])
def test_readings_beyond_the_range_of_numbers_are_refused(size):
    bench = exact_bench(samples=with_samples(size, -size))
    bench["water"] = readings(-size, -size)
    bench["standards"] = standards([2, 3, 4], [size, size * 1.1, size * 1.2])
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert refused.value.code == "beyond_numbers"
