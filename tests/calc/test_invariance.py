"""What a result does not depend on: company, unit, zero, order, and how a number is displayed."""

import copy
import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import calc
from tests.calc.drawn import benches, near_limits, without_error
from tests.calc.test_batch import close
from tests.calc.test_laws import FIXED

FEW = settings(FIXED, max_examples=40)


def said(outcome):
    """A result or a refusal as plain data."""
    if isinstance(outcome, calc.CalcError):
        return {"code": outcome.code, "where": outcome.where, "message": outcome.message}
    return outcome.as_dict()


def alone(form):
    try:
        return calc.evaluate(form)
    except calc.CalcError as refused:
        return refused


def bottles(form):
    """Every list of readings."""
    found = [form["water"], *(one["readings"] for one in form["standards"] + form["samples"])]
    return found if form["concentrate"] is None else [*found, form["concentrate"]]


# Company


@settings(FIXED, max_examples=60)
@given(st.lists(benches(), min_size=2, max_size=8))
def test_tests_of_any_size_together_are_what_each_is_alone(forms):
    together = calc.evaluate_many(forms)
    assert all(
        close(said(one), said(alone(form))) for form, one in zip(forms, together, strict=True)
    )


@FEW
@given(st.lists(benches(), min_size=2, max_size=4), st.integers(0, 3))
def test_a_form_that_is_refused_changes_no_other(forms, at):
    broken = {**forms[0], "samples": []}
    mixed = calc.evaluate_many([*forms[:at], broken, *forms[at:]])
    refused = mixed.pop(min(at, len(forms)))
    assert (refused.code, refused.where) == ("empty_list", "$.samples")
    assert [said(one) for one in mixed] == [said(one) for one in calc.evaluate_many(forms)]


# Unit and zero of the readings. Only conductivity knows no scale of its own.


def moved(form, times=1.0, plus=0.0):
    """The same bench on a meter whose unit is larger and whose zero lies elsewhere."""
    form = copy.deepcopy(form)
    for one in bottles(form):
        for reading in one:
            reading["value"] = times * reading["value"] + plus
    for key in ("resolution", "repeatability"):
        if form["instrument"][key] is not None:
            form["instrument"][key] *= times
    form["instrument"]["temperature_compensated"] = True  # a correction is a share of the reading
    return form


def alike(one, other, rel):
    """Equal words and numbers of two results, leaving out the line, which has a unit."""
    if isinstance(one, dict):
        return all(alike(one[key], other[key], rel) for key in one if key not in UNLIKE)
    if isinstance(one, list):
        return len(one) == len(other) and all(
            alike(a, b, rel) for a, b in zip(one, other, strict=True)
        )
    if isinstance(one, float):
        return math.isclose(one, other, rel_tol=rel, abs_tol=rel)
    return one == other


UNLIKE = ("line", "inputs_digest", "message")


@FEW
@given(benches(("conductivity",)), st.sampled_from([1e-3, 0.1, 1 / 3, 10.0, 1e4, 1e9]))
def test_larger_unit_of_the_meter_changes_nothing_but_the_line(form, times):
    plain, scaled = alone(moved(form)), alone(moved(form, times=times))
    assert alike(said(plain), said(scaled), 1e-7)
    if isinstance(plain, calc.Evaluation):
        assert scaled.line.slope == pytest.approx(times * plain.line.slope, rel=1e-9)
        residual_sd = pytest.approx(times * plain.line.residual_sd, rel=1e-6, abs=1e-9 * times)
        assert scaled.line.residual_sd == residual_sd  # of points on a line it is float dust


@FEW
@given(benches(("conductivity",)), st.floats(-300, 3000))
def test_other_zero_of_the_meter_changes_nothing_but_the_intercept(form, plus):
    # A scatter that nobody states is guessed by what the meter shows, and so goes with its zero.
    meter = form["instrument"]
    stated = meter["repeatability"] or meter["resolution"]
    form = {**form, "instrument": {**meter, "repeatability": stated}}
    plain, shifted = alone(moved(form)), alone(moved(form, plus=plus))
    assert alike(said(plain), said(shifted), 1e-7)
    if isinstance(plain, calc.Evaluation):
        assert shifted.line.slope == pytest.approx(plain.line.slope, rel=1e-9)
        assert shifted.line.intercept == pytest.approx(plain.line.intercept + plus, rel=1e-9)


# Order


@FEW
@given(benches(), st.randoms(use_true_random=False))
def test_order_of_the_readings_of_a_bottle_changes_no_bit(form, choose):
    mixed = copy.deepcopy(form)
    for readings in bottles(mixed):
        choose.shuffle(readings)
    plain, other = said(alone(form)), said(alone(mixed))
    assert {**other, "inputs_digest": None} == {**plain, "inputs_digest": None}


@FEW
@given(benches(), st.randoms(use_true_random=False))
def test_order_of_the_samples_changes_no_sample(form, choose):
    mixed = {**form, "samples": choose.sample(form["samples"], len(form["samples"]))}
    plain, other = alone(form), alone(mixed)
    assume(isinstance(plain, calc.Evaluation))
    assert plain.line == other.line
    by_name = {sample.name: sample for sample in other.samples}
    assert all(close(by_name[one.name].as_dict(), one.as_dict()) for one in plain.samples)
    flow_points = {point.name: point for point in other.flow_points}
    assert all(close(flow_points[one.name].as_dict(), one.as_dict()) for one in plain.flow_points)


@FEW
@given(benches(), st.randoms(use_true_random=False))
def test_order_of_the_standards_changes_no_answer(form, choose):
    mixed = {**form, "standards": choose.sample(form["standards"], len(form["standards"]))}
    plain, other = said(alone(form)), said(alone(mixed))
    for answer in (plain, other):
        answer.pop("warnings", None)  # which name bottles by their place
    assert alike(plain, other, 1e-9)


# Display


@settings(FIXED, max_examples=300)
@given(near_limits(), st.sampled_from([1e-6, 0.1, 50.0]))
def test_limits_never_hang_on_how_a_percent_is_displayed(percent, step):
    (sample,) = calc.evaluate(without_error(percent, step)).samples
    assert sample.percent == pytest.approx(percent, abs=1e-10)
    truth = "lean" if percent < 3.0 else "rich" if percent > 3.9 else "in band"
    assert sample.limits == truth


@pytest.mark.parametrize(("percent", "limits"), [(2.996, "lean"), (3.904, "rich")])
def test_percent_that_is_displayed_as_the_limit_is_judged_as_it_is(percent, limits):
    (sample,) = calc.evaluate(without_error(percent)).samples
    assert f"{sample.percent:.2f}" in ("3.00", "3.90")
    assert sample.limits == limits


@FEW
@given(benches(), st.floats(0.01, 100))
def test_step_of_the_display_moves_no_percent_and_no_limits(form, times):
    form = {**form, "fit": "ordinary"}  # the others weigh the bottles by it
    other = copy.deepcopy(form)
    other["instrument"]["resolution"] *= times
    plain, coarser = alone(form), alone(other)
    assume(isinstance(plain, calc.Evaluation))
    for one, same in zip(plain.samples, coarser.samples, strict=True):
        assert (one.percent, one.limits) == (same.percent, same.limits)
