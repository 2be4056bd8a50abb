"""Where to look: common practice, no published source. All results are invented."""

import copy
import json

import pytest

from calc.acceptance import IN_BAND, LEAN, RICH
from calc.errors import CalcError
from calc.hints import ANY, FILE, KINDS, FlowPoint, hints, patterns_of, read_rules, shipped_rules

LOW, MIDDLE, HIGH = 600.0, 1200.0, 1900.0


def points(*rows):
    return [FlowPoint(*row) for row in rows]


def causes(*arguments):
    return [hint.cause for hint in hints(*arguments)]


LEAN_LOW = points((LOW, 2.5, LEAN), (HIGH, 3.2, IN_BAND))
LEAN_HIGH = points((HIGH, 2.5, LEAN), (LOW, 3.2, IN_BAND), (MIDDLE, 3.1, IN_BAND))
LEAN_BOTH = points((LOW, 2.7, LEAN), (HIGH, 2.75, LEAN))


def test_every_kind_has_causes_for_lean_and_for_rich():
    rules = shipped_rules()
    for kind in KINDS:
        for verdict in (LEAN, RICH):
            assert [r for r in rules.causes if kind in r.kinds and r.verdict == verdict], kind
    assert all(rule.only_with for rule in rules.causes if ANY in rule.kinds)
    assert rules.confidence == "common practice, no source"


def test_result_in_its_band_gets_no_hint():
    assert (
        hints("bladder_tank", points((LOW, 3.2, IN_BAND), (HIGH, 3.3, IN_BAND)), ["falling"]) == ()
    )


def test_flow_points_show_their_pattern():
    assert patterns_of(LEAN_LOW) == ("lean_at_lowest_flow_only",)
    assert patterns_of(LEAN_HIGH) == ("lean_at_highest_flow_only",)
    assert patterns_of(LEAN_BOTH) == ("same_factor",)
    assert patterns_of(points((LOW, 2.0, LEAN), (HIGH, 2.75, LEAN))) == ()
    assert patterns_of(points((LOW, 4.2, RICH), (HIGH, 4.2, RICH))) == ("same_factor",)
    assert patterns_of(points((LOW, 2.7, LEAN))) == ()


def test_lean_at_the_lowest_flow_points_to_the_range_first():
    first = hints("bladder_tank", LEAN_LOW)[0]
    assert "range" in first.cause
    assert first.patterns == ("lean_at_lowest_flow_only",)


def test_lean_at_the_highest_flow_points_to_valve_and_strainer_first():
    assert "valve" in causes("bladder_tank", LEAN_HIGH)[0]
    assert "trainer" in causes("bladder_tank", LEAN_HIGH)[1]


def test_lean_by_one_factor_points_to_the_liquid_and_the_standards():
    found = causes("bladder_tank", LEAN_BOTH)
    assert "The standards were made wrong or from another liquid" in found
    assert "diluted" in found[0]
    assert "The standards were made wrong or from another liquid" not in causes(
        "bladder_tank", LEAN_LOW
    )


def test_first_sample_lean_points_to_the_sampling_and_only_then():
    too_early = "The sample was caught before the flow was steady"
    assert too_early in causes("line_eductor", LEAN_BOTH, ["first_sample_lean"])
    assert too_early not in causes("line_eductor", LEAN_BOTH)


def test_two_patterns_speak_louder_than_one():
    found = hints("positive_displacement", LEAN_LOW, ["falling"])
    assert "slips" in found[0].cause
    assert set(found[0].patterns) == {"lean_at_lowest_flow_only", "falling"}


def test_lean_and_rich_in_one_test_give_causes_of_both():
    both = points((LOW, 2.5, LEAN), (HIGH, 4.2, RICH))
    assert {hint.verdict for hint in hints("electronic", both)} == {LEAN, RICH}


@pytest.mark.parametrize("kind", KINDS)
def test_order_of_the_flow_points_does_not_matter(kind):
    assert hints(kind, LEAN_HIGH) == hints(kind, LEAN_HIGH[::-1])


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: hints("spray", LEAN_LOW), "unknown_choice", "kind"),
        (lambda: hints("premix", []), "empty_list", "flow_points"),
        (lambda: hints("premix", LEAN_LOW, ["rumour"]), "unknown_choice", "history"),
        (lambda: hints("premix", points((0, 3, LEAN))), "out_of_range", "flow"),
    ],
)
def test_hint_that_cannot_be_given_is_refused(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)


@pytest.mark.parametrize(
    ("change", "code", "where"),
    [
        (lambda d: d["causes"][0].update(kinds=["spray"]), "unknown_choice", "$.causes[0].kinds"),
        (lambda d: d["causes"][0].update(verdict="pass"), "unknown_choice", "$.causes[0].verdict"),
        (lambda d: d["causes"][0].pop("cause"), "missing_key", "$.causes[0].cause"),
        (lambda d: d["patterns"].pop("falling"), "missing_key", "$.patterns.falling"),
        (
            lambda d: d["patterns"]["falling"].append("moon"),
            "unused_look",
            "$.patterns.falling[4]",
        ),
    ],
)
def test_broken_rules_are_refused_at_their_place(change, code, where):
    data = copy.deepcopy(json.loads(FILE.read_text()))
    change(data)
    with pytest.raises(CalcError) as refused:
        read_rules(data)
    assert (refused.value.code, refused.value.where) == (code, where)
    assert refused.value.message
