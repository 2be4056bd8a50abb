"""Any form gets a result or a sentence, in a small run that finds an engine which breaks that.

The whole of it: python -m tests.perf.fuzz.
"""

import json
from dataclasses import replace

import pytest

import calc
from tests.calc.benches import a_bench
from tests.perf.fuzz import Engine, main, report, run, through_lines
from tests.perf.judge import faults, line_faults

COUNT, SEED = 800, 11


def test_any_form_gets_a_result_or_a_sentence():
    found = run(COUNT, SEED)
    assert found.faults == {}, "\n".join(report(found))
    # The run looks at both, and not at one kind of refusal only.
    assert (found.forms, found.alone) == (COUNT, COUNT // 10)
    assert found.lines >= COUNT // 100
    assert found.results >= COUNT / 6
    assert len(found.refusals) >= 20
    assert len(found.warned) >= 15


def test_same_seed_gives_the_same_forms():
    once, again = run(200, SEED), run(200, SEED)
    assert (once.refusals, once.warned) == (again.refusals, again.warned)
    assert once.refusals != run(200, SEED + 1).refusals


def altered(change):
    """An engine that answers as ours does, but for one change to what it says."""

    def many(forms):
        return [change(outcome) for outcome in calc.evaluate_many(forms)]

    return Engine(many=many, one=lambda form: many([form])[0])


def with_percent(percent):
    def change(outcome):
        if not isinstance(outcome, calc.Evaluation):
            return outcome
        first, *others = outcome.samples
        return replace(outcome, samples=(replace(first, percent=percent), *others))

    return change


def raising(error):
    def many(forms):
        if any(isinstance(form, dict) and form.get("fit") == "weighted" for form in forms):
            raise error
        return calc.evaluate_many(forms)

    return Engine(many=many)


def shortened(stream):
    return through_lines(stream).split(b"\n", 1)[1]


def unlike_many(form):
    return calc.evaluate({**form, "samples": form["samples"][:1]})


WRONG = {
    "not a number": (altered(with_percent(float("nan"))), "number that is not finite"),
    "endless": (altered(with_percent(float("inf"))), "number that is not finite"),
    "outside its interval": (altered(with_percent(1e300)), "interval out of order"),
    "raises": (raising(KeyError("standards")), "KeyError: 'standards'"),
    "raises what numpy warns of": (raising(RuntimeWarning("overflow")), "RuntimeWarning: overflow"),
    "answers too few": (
        Engine(many=lambda forms: calc.evaluate_many(forms)[1:]),
        "not one outcome",
    ),
    "answers nothing": (Engine(many=lambda forms: [None for _ in forms]), "neither result nor"),
    "alone unlike among many": (Engine(one=unlike_many), "alone and among many differ"),
    "loses a line": (Engine(lines=shortened), "lines: not one line out"),
    "no JSON": (Engine(lines=lambda s: b"NaN\n" * s.count(b"\n")), "lines: line out is not JSON"),
}


@pytest.mark.parametrize(("engine", "kind"), WRONG.values(), ids=WRONG)
def test_engine_that_breaks_the_promise_is_found_out(engine, kind, capsys):
    found = run(300, SEED, engine)
    known = [seen for seen in found.faults if seen.startswith(kind)]
    assert known, list(found.faults)
    assert all(found.faults[seen].times >= 1 for seen in known)
    assert main(["--count", "300", "--seed", str(SEED)], engine) == 1
    assert kind in capsys.readouterr().out


def test_run_without_a_fault_ends_well(capsys):
    assert main(["--count", "100", "--seed", str(SEED)]) == 0
    assert "0 faults" in capsys.readouterr().out


def test_the_smallest_form_that_raises_is_shown():
    (fault,) = run(600, SEED, raising(KeyError("fit"))).faults.values()
    assert fault.example["fit"] == "weighted"
    assert fault.times > 1
    assert fault.size == len(repr(fault.example))


# One thing wrong in an answer that is right otherwise.


def edited(path, value):
    result = json.loads(json.dumps(calc.evaluate(a_bench()).as_dict()))
    *steps, last = path
    place = result
    for step in steps:
        place = place[step]
    place[last] = value
    return json.dumps(result).encode()


def test_answer_of_the_engine_is_well():
    assert faults(a_bench(), calc.evaluate(a_bench())) == []
    assert line_faults(a_bench(), edited(["engine_version"], "0")) == []


@pytest.mark.parametrize(
    ("path", "value", "fault"),
    [
        (["samples", 0, "interval"], [9.0, 1.0], "interval out of order"),
        (["samples", 0, "probability_in_band"], 1.01, "probability out of range"),
        (["flow_points", 1, "probability_of_limits"], -0.1, "probability out of range"),
        (["samples", 2, "standard_uncertainty"], 0.0, "uncertainty of 0 or less"),
        (["samples", 2, "degrees_of_freedom"], 5, "degrees of freedom out of range"),
        (["samples", 0, "limits"], "rich", "limits against the percent"),
        (["samples", 0, "certainty"], "likely", "unknown certainty"),
        (["samples"], [], "not one result for each sample"),
        (["band", "lower"], 7.0, "band out of order"),
        (["lack_of_fit", "probability"], 2.0, "lack of fit out of range"),
    ],
)
def test_wrong_number_in_a_result_is_a_fault(path, value, fault):
    assert fault in line_faults(a_bench(), edited(path, value))


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ({"code": "no_such"}, "unknown refusal no_such"),
        ({"where": "samples"}, "path of out_of_range leads nowhere"),
        ({"where": "$.samples[7]"}, "path of out_of_range leads nowhere"),
        ({"message": "This is nan; give a number."}, "no sentence for out_of_range"),
        ({"message": "one line\nand another."}, "no sentence for out_of_range"),
        ({"message": ""}, "no sentence for out_of_range"),
    ],
)
def test_refusal_without_sentence_or_place_is_a_fault(said, fault):
    right = {"code": "out_of_range", "where": "$.samples[0]", "message": "This is 1; give 2."}
    assert line_faults(a_bench(), json.dumps({"error": right}).encode()) == []
    assert line_faults(a_bench(), json.dumps({"error": {**right, **said}}).encode()) == [fault]


def test_line_that_held_no_form_is_refused_at_a_path_all_the_same():
    words = {"code": "not_json", "message": "This is no JSON; send one object."}
    for where, wrong in (("$", []), ("line 3", ["path of not_json leads nowhere"])):
        assert line_faults(None, json.dumps({"error": {**words, "where": where}}).encode()) == wrong
