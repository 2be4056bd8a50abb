"""Many tests at once give what each gives alone, whatever their size and whatever is wrong."""

import tracemalloc

import pytest

import calc
from calc import batch
from calc.batch import answers
from tests.calc.benches import a_bench, readings, standards, with_samples
from tests.calc.test_frozen import FROZEN, load
from tests.perf.speed import arrays, invented

INPUTS = [load(path) for path in sorted((FROZEN / "inputs").glob("*.json"))]


def close(now, alone):
    """Equal words and numbers to 1e-12 relative."""
    if isinstance(alone, dict):
        return now.keys() == alone.keys() and all(close(now[k], alone[k]) for k in alone)
    if isinstance(alone, list):
        return len(now) == len(alone) and all(map(close, now, alone))
    if isinstance(alone, float):
        return now == pytest.approx(alone, rel=1e-12, abs=0)
    return now == alone


def test_archived_inputs_of_every_kind_and_size_at_once():
    together = calc.evaluate_many(INPUTS * 3)
    for form, one in zip(INPUTS * 3, together, strict=True):
        assert close(one.as_dict(), calc.evaluate(form).as_dict())


def test_wrong_form_is_refused_in_its_place_and_touches_no_other():
    falling = a_bench(standards=standards([2, 3, 4], [1.3329, 1.3328, 1.3327]))
    enormous = a_bench(standards=standards([2, 3, 4], [1e308, 1.1e308, 1.2e308]))
    forms = [a_bench(), {"method": 3}, falling, a_bench(fit="both-axes"), enormous, a_bench()]
    first, unread, fell, both, burst, last = calc.evaluate_many(forms)
    assert first == last == calc.evaluate(a_bench())
    assert both == calc.evaluate(a_bench(fit="both-axes"))
    assert (unread.code, fell.code, burst.code) == ("missing_key", "falling_line", "beyond_numbers")


METER = a_bench()["instrument"]
GROSS = {"standard_deviation": 1e200, "degrees_of_freedom": 20}
SQUARES_BEYOND_NUMBERS = [
    a_bench(water=readings(1.333, 1e300)),
    a_bench(instrument={**METER, "repeatability_history": GROSS}),
    a_bench(instrument={**METER, "resolution": 1e200}),
    a_bench(
        method="conductivity", correct_to_c=20, samples=with_samples(1e200, temperature_c=21.0)
    ),
]


@pytest.mark.parametrize("form", SQUARES_BEYOND_NUMBERS)
def test_numbers_beyond_the_range_of_one_form_stay_its_own(form):
    first, middle, last = calc.evaluate_many([a_bench(), form, a_bench()])
    assert first == last == calc.evaluate(a_bench())
    assert isinstance(middle, calc.CalcError | calc.Evaluation)


def test_one_long_test_does_not_fill_the_memory_with_the_short_ones():
    long = a_bench(samples=with_samples(*[1.3340] * 1500))

    def peak(forms):
        tracemalloc.start()
        calc.evaluate_many(forms)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    short = [a_bench()] * 200
    assert peak([*short, long]) < 2 * (peak(short) + peak([long]))


def test_no_forms_give_no_outcomes():
    assert calc.evaluate_many([]) == []


def test_chunks_do_not_change_a_bit(monkeypatch):
    benches = arrays(*invented(50))
    whole = answers(benches)
    monkeypatch.setattr(batch, "CHUNK", 7)
    cut = answers(benches)
    assert (whole.estimate.percent == cut.estimate.percent).all()
    assert (whole.estimate.low == cut.estimate.low).all()
    assert (whole.verdict.probability_of_limits == cut.verdict.probability_of_limits).all()


@pytest.mark.parametrize("fit", ["weighted", "both-axes"])
def test_fit_that_weighs_bottles_follows_the_better_known_ones(fit):
    """A standard read nine times pulls the line, one that was made badly does not."""
    bench = a_bench(
        fit=fit, samples=with_samples(1.3339), concentrate=None, water=readings(*[1.33301] * 9)
    )
    bench["standards"][2]["percent_uncertainty"] = 1.0
    bench["standards"][2]["readings"] = readings(1.33470)
    ordinary = calc.evaluate({**bench, "fit": "ordinary"})
    weighed = calc.evaluate(bench)
    to_good = [abs(r.line.intercept - 1.33301) for r in (weighed, ordinary)]
    assert to_good[0] < to_good[1]
