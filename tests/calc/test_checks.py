"""Warnings: when they come, when they do not, and what they leave open. Invented readings."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import calc
from calc.checks import on_steadiness, pair_factor
from calc.form import Bottle, read
from calc.stack import Subject
from tests.calc.benches import (
    a_bench,
    certainties,
    found,
    places,
    readings,
    standards,
    with_samples,
)
from tests.calc.published.rows import inputs
from tests.calc.test_laws import FIXED


def exact_conductivity(percents):
    """Readings exactly 100 + 100 × percent, bottles of one flow point."""
    return a_bench(
        method="conductivity",
        instrument={"resolution": 0.01, "repeatability": 0.01, "temperature_compensated": True},
        water=readings(100.0),
        standards=standards([2, 3, 4], [300.0, 400.0, 500.0]),
        concentrate=None,
        samples=[
            {"name": str(i), "flow_point": "one", "readings": readings(100.0 + 100.0 * percent)}
            for i, percent in enumerate(percents)
        ],
    )


# Resolution, order, shape


def test_step_over_a_third_of_the_band_is_coarse():
    bench = a_bench(instrument={**a_bench()["instrument"], "resolution": 0.0001})
    assert places(bench, "resolution_coarse") == ["$.instrument.resolution"]
    slope = calc.evaluate(bench).line.slope
    just_fine = {**bench["instrument"], "resolution": slope * 0.9 / 3 * 0.999}
    assert places({**bench, "instrument": just_fine}, "resolution_coarse") == []


def test_standard_that_reads_below_a_weaker_one_is_named():
    bench = a_bench(standards=standards([2, 3, 4], [1.33389, 1.33359, 1.33417]))
    (warned,) = found(bench, "not_monotonic")
    assert warned.where == "$.standards[1]"
    assert "swapped" in warned.message


def test_standard_below_water_is_named_even_without_water_in_the_fit():
    bench = a_bench(water=readings(1.33365), include_water=False)
    assert places(bench, "not_monotonic") == ["$.standards[0]"]


def test_equal_readings_and_replicate_standards_are_in_order():
    bench = a_bench(
        standards=standards([2, 2, 3, 4], [1.33360, 1.33358, 1.33389, 1.33389]),
    )
    assert places(bench, "not_monotonic") == []


def anscombe_bench(name):
    """Published data, one straight and one curved, scaled as readings (check-values A-17)."""
    data = inputs("A-17")
    values = [y / 10 for y in data[f"y_{name}"]]
    return a_bench(
        method="brix",
        instrument={"resolution": 0.01, "repeatability": None, "temperature_compensated": True},
        water=readings(0.0),
        standards=standards(data["x"], values),
        include_water=False,
        samples=with_samples(0.75),
    )


def test_published_curved_data_bend_and_the_straight_ones_do_not():
    (warned,) = found(anscombe_bench("II"), "non_linear")
    assert warned.where == "$.standards"
    assert "t test of the quadratic term" in warned.message
    assert "5%" in warned.message
    assert places(anscombe_bench("I"), "non_linear") == []


def test_rounded_readings_on_a_parabola_raise_no_alarm():
    # 2, 4 and 5 steps above water lie on a parabola exactly; with this display that is nothing.
    bench = a_bench(
        instrument={**a_bench()["instrument"], "resolution": 0.0002},
        water=readings(1.3330),
        standards=standards([1, 2, 3], [1.3334, 1.3338, 1.3340]),
    )
    assert places(bench, "non_linear") == []


def slip_bench(slip):
    values = [1.3330 + 3e-4 * p for p in range(1, 9)]
    jitter = [1e-5, -1e-5, 0.0, 1e-5, -1e-5, 0.0, 1e-5, -1e-5]
    values = [v + j for v, j in zip(values, jitter, strict=True)]
    values[4] += slip
    return a_bench(water=readings(1.3330), standards=standards(list(range(1, 9)), values))


def test_bottle_off_the_line_of_the_others_is_named():
    (warned,) = found(slip_bench(3e-4), "outlier")
    assert warned.where == "$.standards[4]"
    assert "Bonferroni" in warned.message
    assert places(slip_bench(0.0), "outlier") == []


# Range and water point


def test_result_beyond_the_last_standard_is_flagged_and_open():
    bench = a_bench(samples=with_samples(1.33432, 1.33396))
    (warned,) = found(bench, "extrapolation")
    assert warned.where == "$.samples[0]"
    assert certainties(bench) == (["undecided", "settled"], ["undecided", "settled"])


def test_sample_below_the_water_point_is_flagged_and_plainly_lean():
    bench = a_bench(samples=with_samples(1.33299))
    assert places(bench, "extrapolation") == ["$.samples[0]"]
    (sample,) = calc.evaluate(bench).samples
    assert (sample.limits, sample.certainty) == ("lean", "settled")


def test_sample_below_the_weakest_standard_is_open_without_the_water_point():
    bench = a_bench(samples=with_samples(1.33330), include_water=False)
    assert places(bench, "extrapolation") == ["$.samples[0]"]
    assert certainties(bench)[0] == ["undecided"]


def test_sample_on_the_last_standard_is_within_the_fitted_points():
    bench = a_bench(
        method="conductivity",
        water=readings(100.0),
        standards=standards([2, 3, 4], [120.0, 130.0, 140.0]),
        samples=with_samples(140.0),
    )
    assert places(bench, "extrapolation") == []


def test_flow_point_of_several_bottles_has_its_own_warning():
    samples = with_samples(1.33430, 1.33434)
    for sample in samples:
        sample["flow_point"] = "design"
    expected = ["$.samples[0]", "$.samples[1]", "$.flow_points[0]"]
    assert places(a_bench(samples=samples), "extrapolation") == expected


def bent_bench(**changes):
    """Water lies off the line of the standards, so that 3.9 % depends on whether it counts."""
    return a_bench(
        water=readings(1.33290),
        standards=standards([2, 3, 4], [1.33360, 1.33390, 1.33420]),
        samples=with_samples(1.33418, 1.33400),
        **changes,
    )


@pytest.mark.parametrize("include_water", [True, False])
def test_verdict_that_hangs_on_the_water_point_is_undecided(include_water):
    bench = bent_bench(include_water=include_water, verdict_probability=0.5)
    (warned,) = found(bench, "water_decides")
    assert warned.where == "$.samples[0]"
    assert {warned.values["limits"], warned.values["other_limits"]} == {"in band", "rich"}
    assert certainties(bench)[0][0] == "undecided"
    assert certainties(bench)[0][1] == "settled"


def test_line_that_rises_only_by_its_water_point_leaves_everything_open():
    bench = a_bench(
        water=readings(1.33290), standards=standards([2, 3, 4], [1.33392, 1.33390, 1.33391])
    )
    assert places(bench, "water_needed") == ["$.water"]
    assert certainties(bench) == (["undecided"] * 3, ["undecided"] * 2)


def test_two_standards_draw_no_line_without_water_to_compare_with():
    bench = bent_bench()
    bench["standards"] = bench["standards"][1:]
    assert places(bench, "water_decides") == places(bench, "water_needed") == []


# Bottles that do not agree with themselves or with each other: common practice, no published source


def test_bottles_of_one_flow_point_far_apart_are_not_averaged_in_silence():
    # 2.7 and 3.6 % make a fine 3.15 % that no bottle ever held.
    bench = a_bench()
    slope = calc.evaluate(bench).line.slope
    bench["samples"][0]["readings"] = readings(1.33301 + 2.7 * slope)
    bench["samples"][1]["readings"] = readings(1.33301 + 3.6 * slope)
    (warned,) = found(bench, "not_steady")
    assert warned.where == "$.flow_points[0]"
    assert warned.values["apart"] == pytest.approx(0.9, abs=1e-6)
    assert certainties(bench)[1][0] == "undecided"
    assert found(a_bench(), "not_steady") == []


@pytest.mark.parametrize(("apart", "said"), [(0.08, False), (0.10, True)])
def test_a_fine_instrument_may_see_a_tenth_of_the_band(apart, said):
    # The band of a 3 % system is 0.9 points wide; readings ten times finer than that show both.
    bench = exact_conductivity([3.4, 3.4 + apart])
    assert bool(found(bench, "not_steady")) == said


def test_repeats_of_one_bottle_far_apart_are_named_at_the_bottle():
    bench = a_bench()
    bench["standards"][1]["readings"] = readings(1.33389, 1.33429)
    (warned,) = found(bench, "repeats_apart")
    assert warned.where == "$.standards[1]"
    assert warned.values["apart"] == pytest.approx(4e-4, rel=1e-6)
    assert found(a_bench(), "repeats_apart") == []


def test_steady_bottles_are_called_unsteady_no_more_often_than_chance_has_it():
    rng = np.random.default_rng(8)
    false, trials = 0, 400
    for _ in range(trials):
        bench = a_bench(instrument={**a_bench()["instrument"], "repeatability": 2e-5})
        alike = np.round(1.3340 + rng.normal(scale=2e-5, size=3), 5)
        bench["samples"] = [{**s, "flow_point": "one"} for s in with_samples(*map(float, alike))]
        false += bool(found(bench, "not_steady"))
    assert false <= 0.05 * trials


@FIXED
@given(
    st.lists(st.tuples(st.floats(0, 4e-5), st.integers(1, 4)), min_size=2, max_size=7),
    st.floats(0, 1e-5),
)
def test_bottles_are_steady_when_every_pair_of_them_is(bottles, sd):
    subject = Subject("$.flow_points[0]", "one", None, 1.334, tuple(map(bottle_of, bottles)))
    bench = read(a_bench(instrument={**a_bench()["instrument"], "repeatability": 1e-6}))
    sd, step = max(sd, 1e-6), bench.instrument.resolution
    least = 0.1 * 0.9 * 3e-4  # a tenth of the band of a 3 % system, at this slope
    allowed = {
        (n, m): max(
            pair_factor(len(bottles)) * (sd**2 * (1 / n + 1 / m) + step**2 / 6) ** 0.5, least
        )
        for n in range(1, 5)
        for m in range(1, 5)
    }
    far = [abs(a - b) - allowed[n, m] for (a, n), (b, m) in combinations(bottles, 2)]
    assume(min(map(abs, far)) > 1e-12)  # on the edge the last digit decides
    assert bool(on_steadiness(bench, subject, sd, 3e-4)) == (max(far) > 0)


def bottle_of(drawn):
    rise, count = drawn
    return Bottle("$.samples[0]", (), (1.334 + rise,) * count, 1.334 + rise, None)


def test_percent_that_cannot_be_is_never_settled():
    # 0.86 typed from the mS/cm range on a bench in µS/cm: far below water by its own interval.
    bench = a_bench(
        method="conductivity",
        instrument={"resolution": 1.0, "repeatability": 1.0, "temperature_compensated": True},
        water=readings(300.0),
        standards=standards([2, 3, 4], [700.0, 900.0, 1100.0]),
        concentrate=None,
        samples=with_samples(0.86),
    )
    (sample,) = calc.evaluate(bench).samples
    assert sample.interval[1] < 0
    assert (sample.limits, sample.certainty) == ("lean", "undecided")
