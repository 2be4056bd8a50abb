"""The honest interval: its parts against other ways of computing them. Coverage: tests/perf."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import t as student

import calc
from calc.interval import LOG_SD, guessed_sd, learn_scatter, scale_and_dof
from tests.calc.benches import a_bench, readings, with_samples
from tests.calc.test_laws import bench_of, noises, percents, slopes

FIXED = settings(derandomize=True, deadline=None, max_examples=60, database=None)
DUST = 1e-12


@pytest.mark.parametrize(
    ("squares", "dof", "share", "known", "within", "within_dof"),
    [(0.1, 2, 1.0, 0.2, 0.0, 0), (9.0, 2, 0.5, 0.0, 4.0, 5), (40.0, 1, 1.0, 1.0, 0.0, 0)],
)
def test_scatter_agrees_with_adaptive_quadrature(squares, dof, share, known, within, within_dof):
    def weight(z, power):
        multiple = np.exp(2 * LOG_SD * z)
        expected = multiple * share + known
        log = -z * z - dof * np.log(expected) - squares / expected
        log -= within_dof * np.log(multiple) + within / multiple
        return np.exp(log / 2) * multiple**power

    total, first, second = (quad(weight, -2.5, 6, (k,), epsabs=1e-14)[0] for k in range(3))
    found = learn_scatter(squares, dof, share, known, within, within_dof)
    assert found.mean == pytest.approx(first / total, rel=0.02)
    assert found.variance == pytest.approx(second / total - (first / total) ** 2, rel=0.05)


def test_student_that_stands_in_has_the_moments_of_the_mixture():
    # A t with dof ν scaled by u has variance u² ν/(ν-2) and excess kurtosis 6/(ν-4).
    u, dof = scale_and_dof(2.0, 0.5)
    assert student.var(float(dof), scale=float(u)) == pytest.approx(2.0, rel=1e-12)
    excess = 3 * 0.5 / 2.0**2  # of a normal whose variance has mean 2 and variance 0.5
    assert student.stats(float(dof), moments="k") == pytest.approx(excess, rel=1e-12)


def test_known_scatter_is_normal():
    u, dof = scale_and_dof(4.0, 0.0)
    assert u == pytest.approx(2.0, rel=1e-5)
    assert dof == 1e6


def test_unstated_repeatability_is_guessed_wide():
    assert guessed_sd("refractive_index", 1e-5, None) > guessed_sd("refractive_index", 1e-5, 5e-5)
    assert guessed_sd("conductivity", 0.1, None) > 0.1


def half(bench):
    return np.diff(calc.evaluate(bench).samples[0].interval)[0]


@FIXED
@given(
    slopes, noises, percents, st.sampled_from(["resolution", "repeatability"]), st.floats(1.01, 30)
)
def test_worse_instrument_never_gives_a_narrower_interval(slope, noise, percent, key, times):
    bench = bench_of(slope, noise, percent)
    worse = {**bench["instrument"], key: bench["instrument"][key] * times}
    allowed = half(bench) * (1 - DUST)
    assert half({**bench, "instrument": worse}) >= allowed


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
