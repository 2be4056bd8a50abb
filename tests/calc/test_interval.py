"""The interval: its parts against other ways of computing them. Coverage: tests.perf.coverage."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import t as student

import calc
from calc.interval import (
    LOG_SD,
    Bottles,
    Scatter,
    even_dof,
    guessed_sd,
    honest_read_off,
    learn_scatter,
    slope_uncertainty,
)
from calc.line import fit_both_axes, fit_line
from tests.calc.benches import a_bench, readings, with_samples
from tests.calc.drawn import benches
from tests.calc.test_laws import bench_of, noises, percents, slopes
from tests.perf.coverage import Cell, run

FIXED = settings(derandomize=True, deadline=None, max_examples=60, database=None)
DUST = 1e-12


@pytest.mark.parametrize(
    ("squares", "dof", "share", "known", "within", "within_dof"),
    [
        (0.1, 2, 1.0, 0.2, 0.0, 0),
        (9.0, 2, 0.5, 0.0, 4.0, 5),
        (40.0, 1, 1.0, 1.0, 0.0, 0),
        (3.0, 4, 0.4, 0.1, 35.0, 40),
    ],
)
def test_scatter_agrees_with_adaptive_quadrature(squares, dof, share, known, within, within_dof):
    def weight(z, power):
        multiple = np.exp(2 * LOG_SD * z)
        expected = multiple * share + known
        log = -z * z - dof * np.log(expected) - squares / expected
        log -= within_dof * np.log(multiple) + within / multiple
        return np.exp(log / 2) * multiple**power

    total, first, second = (
        quad(weight, -2.5, 6, (k,), epsabs=1e-14, limit=200)[0] for k in range(3)
    )
    found = learn_scatter(squares, dof, share, known, within, within_dof)
    assert found.mean == pytest.approx(first / total, rel=0.02)
    assert found.variance == pytest.approx(second / total - (first / total) ** 2, rel=0.05)


def test_student_that_stands_in_has_the_fourth_moment_of_the_mixture():
    # Excess kurtosis of t is 6/(dof - 4), of a normal of uncertain variance 3 var/mean².
    dof = float(even_dof(2.0, 0.5))
    excess = 3 * 0.5 / 2.0**2
    assert dof == 20  # the exact one, taken down to an even number that is at most 20
    assert student.stats(dof, moments="k") == pytest.approx(excess, rel=1e-12)


@pytest.mark.parametrize(("variance", "dof"), [(0.0, 20), (0.8, 6), (1.0, 6), (1.1, 4), (50.0, 4)])
def test_degrees_of_freedom_are_even_and_bounded(variance, dof):
    assert even_dof(1.0, variance) == dof


def test_unstated_repeatability_is_guessed_wide():
    assert guessed_sd("refractive_index", 1e-5, None, 1.33) > guessed_sd(
        "refractive_index", 1e-5, 5e-5, 1.33
    )


@pytest.mark.parametrize(("level", "sd"), [(100.0, 3.0), (-700.0, 10.5), (50_000.0, 750.0)])
def test_conductivity_is_guessed_by_its_steps_or_by_what_it_shows(level, sd):
    # 1.5 times two steps of 1 µS/cm, or 1.5 times 1 %: arithmetic on our own choice.
    assert guessed_sd("conductivity", 1.0, None, level) == pytest.approx(sd)


@pytest.mark.parametrize("fit", ["ordinary", "weighted", "both-axes"])
def test_pulls_and_residuals_are_those_of_a_simulation(fit):
    """Spread of the percent, of the slope and of the residuals over 40,000 simulated benches, for
    scatter and standards that are known exactly."""
    rng, count = np.random.default_rng(3), 40_000
    x, repeats = np.array([0.0, 2.0, 3.0, 4.0, 6.0]), np.array([3.0, 1.0, 2.0, 1.0, 1.0])
    sd, slope, made_to = 2e-5, 3e-4, 0.02
    u = made_to * x
    column = (slice(None), None)
    true = x[column] + u[column] * rng.normal(size=(5, count))
    y = slope * true + sd / np.sqrt(repeats)[column] * rng.normal(size=(5, count))
    percent = np.broadcast_to(x[column], y.shape)
    u_y = np.broadcast_to((sd / np.sqrt(repeats))[column], y.shape)
    u_x = np.broadcast_to(u[column], y.shape)
    line = {
        "ordinary": lambda: fit_line(percent, y),
        "weighted": lambda: fit_line(percent, y, 1 / u_y**2),
        "both-axes": lambda: fit_both_axes(percent, y, u_x, u_y).line,
    }[fit]()
    bottles = Bottles(
        percent,
        u_x,
        np.broadcast_to(repeats[column], y.shape),
        np.full(count, sd),
        np.full(count, 1e-12),
    )
    exactly = Scatter(np.ones(count), np.zeros(count))
    sample = slope * 3.4 + sd * rng.normal(size=(1, count))
    ones = np.ones((1, count))
    no_floor = replace(line, residual_sd=np.zeros(count))  # the textbook's would only widen it
    found = honest_read_off(no_floor, bottles, exactly, sample, ones, ones)
    expected = np.sqrt(np.mean(found.u_percent[0] ** 2))
    assert np.std(found.percent[0]) == pytest.approx(expected, rel=0.02)
    of_residuals = scatter_of_residuals(line, bottles)
    assert np.mean(line.residual_sd**2) == pytest.approx(np.mean(of_residuals), rel=0.02)
    u_slope = slope_uncertainty(line, bottles, exactly)
    assert np.std(line.slope) == pytest.approx(np.sqrt(np.mean(u_slope**2)), rel=0.02)


def scatter_of_residuals(line, bottles):
    """Mean square that the residuals have where scatter and standards are as stated."""
    left = line.weight * (1 - line.leverage(bottles.percent))
    made = np.square(bottles.u_percent * line.slope)
    variance = np.square(bottles.guess) / bottles.readings + made
    return np.sum(left * variance, axis=0) / line.degrees_of_freedom


def half(bench):
    return np.diff(calc.evaluate(bench).samples[0].interval)[0]


@FIXED
@given(
    slopes, noises, percents, st.sampled_from(["resolution", "repeatability"]), st.floats(1.01, 30)
)
def test_worse_instrument_never_gives_a_narrower_interval(slope, noise, percent, key, times):
    bench = bench_of(slope, noise, percent)
    worse = {**bench["instrument"], key: bench["instrument"][key] * times}
    assert half({**bench, "instrument": worse}) >= half(bench) * (1 - DUST)


FIGURES = ["resolution", "repeatability", "standard_deviation"]


@settings(FIXED, max_examples=150)
@given(benches(), st.sampled_from(FIGURES), st.floats(1.01, 30))
def test_worse_instrument_narrows_no_result_of_any_bench(bench, figure, times):
    """With the line that does not weigh bottles by the meter; elsewhere it is another line then."""
    meter = bench["instrument"]
    if figure == "standard_deviation":
        history = {figure: meter["resolution"], "degrees_of_freedom": 8}
        meter = {**meter, "repeatability_history": history}
        worse = {**meter, "repeatability_history": {**history, figure: times * history[figure]}}
    else:
        assume(meter[figure] is not None)
        worse = {**meter, figure: times * meter[figure]}
    good, poor = (
        calc.evaluate({**bench, "fit": "ordinary", "instrument": one}) for one in (meter, worse)
    )
    for one, other in zip(
        good.samples + good.flow_points, poor.samples + poor.flow_points, strict=True
    ):
        assert other.percent == one.percent
        assert other.standard_uncertainty >= one.standard_uncertainty * (1 - DUST)


def test_lucky_readings_on_a_line_do_not_promise_certainty():
    # Three standards and water exactly on a line of a coarse display: the textbook says ± 0.
    bench = a_bench(samples=with_samples(1.33391), water=readings(1.3330))
    bench["instrument"] = {**bench["instrument"], "resolution": 1e-4, "repeatability": None}
    bench["standards"] = [
        {"percent": float(p), "readings": readings(1.3330 + 3e-4 * p)} for p in (2, 3, 4)
    ]
    assert half(bench) > 2 * 1e-4 / 12**0.5 / 3e-4


def test_standards_made_badly_widen_the_interval():
    bench, rough = a_bench(), a_bench()
    for standard in rough["standards"]:
        standard["percent_uncertainty"] = 0.2
    assert half(rough) > 1.5 * half(bench)
    assert calc.evaluate(rough).line == calc.evaluate(bench).line


def test_history_of_the_instrument_moves_the_interval_its_way():
    def with_history(sd, dof=20):
        bench = a_bench()
        history = {"standard_deviation": sd, "degrees_of_freedom": dof}
        bench["instrument"] = {**bench["instrument"], "repeatability_history": history}
        return half(bench)

    assert with_history(1e-5) < half(a_bench()) < with_history(2e-4)
    assert with_history(1e-5, dof=2) > with_history(1e-5, dof=8)
    assert with_history(1e-5, dof=10) == with_history(1e-5, dof=1000)  # ten count, no more


@pytest.mark.parametrize("resolution", [1e-4, 1e-5])
def test_interval_covers_in_a_small_run_of_the_simulation(resolution):
    found = run(
        Cell("refractive_index", resolution, 5e-5, 3.0, 3, 1), 4000, np.random.default_rng(5)
    )
    # 94 % asked for, less three standard deviations of 4,000 trials.
    assert found.coverage["as it is"] > 0.94 - 3 * (0.94 * 0.06 / 4000) ** 0.5
    assert found.coverage["half of it"] > 0.90 - 3 * (0.9 * 0.1 / 4000) ** 0.5
