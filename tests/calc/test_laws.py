"""Laws that hold for every bench, tried on many; the seeds are fixed."""

import copy

from hypothesis import given, settings
from hypothesis import strategies as st

import calc
from tests.calc.benches import a_bench, readings, standards

FIXED = settings.get_profile("fixed")  # of tests/conftest.py

slopes = st.floats(1e-4, 6e-4)
noises = st.lists(st.floats(-3e-5, 3e-5), min_size=8, max_size=8)
percents = st.floats(0.2, 3.8)


def bench_of(slope, noise, percent, scale=1.0, order=(0, 1, 2, 3)):
    """Index readings with noise on the standards; the sample reads what `percent` would."""
    made = [2.0, 3.0, 4.0, 2.5]
    values = [scale * (1.333 + slope * p + e) for p, e in zip(made, noise, strict=False)]
    return a_bench(
        method="conductivity",  # a scale that knows no bounds, so that readings may be scaled
        concentrate=None,
        instrument={
            "resolution": 1e-5 * scale,
            "repeatability": 2e-5 * scale,
            "temperature_compensated": True,
        },
        water=readings(scale * (1.333 + noise[4])),
        standards=standards([made[i] for i in order], [values[i] for i in order]),
        samples=[{"name": "one", "readings": readings(scale * (1.333 + slope * percent))}],
    )


def numbers(value):
    if isinstance(value, dict):
        return [n for v in value.values() for n in numbers(v)]
    if isinstance(value, list):
        return [n for v in value for n in numbers(v)]
    return [value] if isinstance(value, float) else []


def near(a, b, rel=1e-7, least=1e-12):
    return abs(a - b) <= max(least, rel * max(abs(a), abs(b)))


@FIXED
@given(slopes, percents)
def test_what_was_made_is_read_off(slope, percent):
    (sample,) = calc.evaluate(bench_of(slope, [0.0] * 8, percent)).samples
    assert near(sample.percent, percent, rel=1e-8)
    assert sample.interval[0] < sample.percent < sample.interval[1]


@FIXED
@given(slopes, noises, percents, st.sampled_from([0.5, 2.0, 1e-3, 1e4, 64.0]))
def test_unit_of_the_readings_does_not_matter(slope, noise, percent, scale):
    plain = calc.evaluate(bench_of(slope, noise, percent))
    scaled = calc.evaluate(bench_of(slope, noise, percent, scale=scale))
    assert near(plain.samples[0].percent, scaled.samples[0].percent)
    uncertainty = plain.samples[0].standard_uncertainty
    assert near(uncertainty, scaled.samples[0].standard_uncertainty)
    assert plain.samples[0].limits == scaled.samples[0].limits
    assert [w.code for w in plain.warnings] == [w.code for w in scaled.warnings]


@FIXED
@given(slopes, noises, percents, st.permutations([0, 1, 2, 3]))
def test_order_of_the_standards_does_not_matter(slope, noise, percent, order):
    plain = calc.evaluate(bench_of(slope, noise, percent))
    mixed = calc.evaluate(bench_of(slope, noise, percent, order=order))
    assert near(plain.samples[0].percent, mixed.samples[0].percent, rel=1e-9)
    assert near(plain.samples[0].probability_in_band, mixed.samples[0].probability_in_band)


@FIXED
@given(slopes, noises, percents)
def test_probabilities_and_certainty_hold_together(slope, noise, percent):
    bench = bench_of(slope, noise, percent)
    (sample,) = calc.evaluate(bench).samples
    assert 0 <= sample.probability_in_band <= 1
    assert 0 <= sample.probability_of_limits <= 1
    if sample.limits == "in band":
        assert sample.probability_of_limits == sample.probability_in_band
    else:
        assert sample.probability_of_limits >= 0.5
    if sample.certainty == "settled":
        assert sample.probability_of_limits >= 0.75
    (simple,) = calc.evaluate({**bench, "verdict_probability": None}).samples
    assert simple.certainty == "settled"
    assert (simple.limits, simple.percent) == (sample.limits, sample.percent)


@FIXED
@given(slopes, noises, st.lists(percents, min_size=1, max_size=6))
def test_flow_point_is_the_mean_of_its_samples(slope, noise, wanted):
    bench = bench_of(slope, noise, 3.0)
    bench["samples"] = [
        {"name": str(i), "flow_point": "only", "readings": readings(1.333 + slope * p)}
        for i, p in enumerate(wanted)
    ]
    result = calc.evaluate(bench)
    mean = sum(sample.percent for sample in result.samples) / len(wanted)
    (point,) = result.flow_points
    assert near(point.percent, mean, rel=1e-8, least=1e-9)
    assert point.standard_uncertainty <= max(s.standard_uncertainty for s in result.samples)


# Anything at all: a result of finite numbers, or a sentence.

scalars = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=5)
    | st.sampled_from([1e308, -1e308, 5e-324, 1e154, 1e-200, 0.0, -0.0, 3, 20.0, 1.3335])
)
anything = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=5,
)


def every_place(value, path=()):
    """Paths of all entries of a form, outermost first."""
    if not isinstance(value, (dict, list)):
        return
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
        yield (*path, key)
        yield from every_place(inner, (*path, key))


PLACES = list(every_place(a_bench()))


def put(bench, path, value):
    """Put a value at a path; where an earlier change took the place away, nothing happens."""
    *steps, last = path
    place = bench
    try:
        for step in steps:
            place = place[step]
        place[last] = value
    except (KeyError, IndexError, TypeError):
        return


def outcome(bench):
    """The result as plain data, or the refusal."""
    try:
        return calc.evaluate(bench).as_dict()
    except calc.CalcError as refused:
        return refused


@settings(FIXED, max_examples=400)
@given(st.lists(st.tuples(st.sampled_from(PLACES), anything), min_size=1, max_size=3))
def test_any_input_gets_a_finite_result_or_a_sentence(changes):
    bench = copy.deepcopy(a_bench())
    for path, value in changes:
        put(bench, path, value)
    result = outcome(bench)
    if isinstance(result, calc.CalcError):
        assert result.where.startswith("$")
        assert str(result).isprintable()
        return
    assert all(abs(number) < float("inf") for number in numbers(result))
    words = " ".join(warned["message"] for warned in result["warnings"])
    assert "nan" not in words
    assert " inf" not in words
