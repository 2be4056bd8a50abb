"""Criteria as data: the starter rows, and what a row of one's own may not say.

The bands of each rule are checked against its source in published/test_bands.py (topic g).
"""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.acceptance import limits
from calc.criteria import common_band, criterion_band, read_criterion, shipped_criteria
from calc.errors import CalcError

RULES = shipped_criteria()


def a_rule(**changed):
    said = {
        "code": "own",
        "title": "Own rule",
        "source": "the authority's letter",
        "edition": "2026",
        "confidence": "looked up",
        "lower": [{"of": "nominal"}],
        "upper": [{"of": "nominal", "times": "1.2"}],
    }
    return {key: value for key, value in {**said, **changed}.items() if value is not None}


def test_every_starter_row_names_its_source_and_its_confidence():
    assert set(RULES) == {
        *["fixed-systems", "european", "marine", "baseline"],
        *["vehicle-turrets", "vehicle-handlines"],
    }
    assert all(rule.source and rule.edition and rule.confidence for rule in RULES.values())


@settings(derandomize=True, deadline=None, database=None)
@given(st.decimals("0.1", "100", places=3))
def test_rule_for_fixed_systems_is_the_common_rule(nominal):
    assert criterion_band(RULES["fixed-systems"], nominal) == common_band(nominal)


def test_european_bands_are_those_of_the_common_rule():
    # EN 13565-1:2019 as quoted on an open training page.
    for nominal in (1, 3, 6):
        assert criterion_band(RULES["european"], nominal) == common_band(nominal)


def test_baseline_rule_is_a_tenth_about_the_acceptance_test():
    # NFPA 25, from memory: within 10 % of the acceptance result.
    allowed = criterion_band(RULES["baseline"], 3, "3.4")
    assert (allowed.lower, allowed.upper) == (Decimal("3.06"), Decimal("3.74"))
    assert limits(3.0, allowed) == "lean"
    assert [code for code, rule in RULES.items() if rule.needs_baseline] == ["baseline"]


def test_baseline_rule_never_goes_below_nine_tenths_of_nominal():
    for nominal, lowest in ((1, "0.9"), (3, "2.7"), (6, "5.4")):
        allowed = criterion_band(RULES["baseline"], nominal, Decimal(nominal) * Decimal("0.95"))
        assert allowed.lower == Decimal(lowest)


def test_handlines_may_be_richer_than_turrets():
    # NFPA 412, from memory, low.
    assert criterion_band(RULES["vehicle-handlines"], 3).upper == Decimal("4.0")
    assert criterion_band(RULES["vehicle-turrets"], 3).upper == Decimal("3.5")


@pytest.mark.parametrize(
    ("code", "arguments", "refusal"),
    [
        ("baseline", (3,), "baseline_missing"),
        ("baseline", (3, 2.0), "baseline_too_far"),
        ("baseline", (3, 0), "out_of_range"),
        ("vehicle-turrets", (1,), "nominal_not_named"),
        ("marine", (0,), "out_of_range"),
        ("marine", ("three",), "not_a_number"),
        ("marine", ("Infinity",), "not_finite"),
    ],
)
def test_band_that_a_rule_does_not_give_is_refused(code, arguments, refusal):
    with pytest.raises(CalcError) as refused:
        criterion_band(RULES[code], *arguments)
    assert refused.value.code == refusal
    assert refused.value.message


def test_own_rule_in_the_same_form_gives_its_band():
    allowed = criterion_band(read_criterion(a_rule()), 3)
    assert (allowed.lower, allowed.upper) == (3, Decimal("3.6"))


@pytest.mark.parametrize(
    ("changed", "code", "where"),
    [
        ({"edition": None}, "missing_key", "$.edition"),
        ({"source": " "}, "blank_text", "$.source"),
        ({"confidence": "sure"}, "unknown_choice", "$.confidence"),
        ({"upper": []}, "empty_list", "$.upper"),
        ({"upper": [{"of": "design"}]}, "unknown_choice", "$.upper[0].of"),
        ({"upper": [{"of": "nominal", "plus": "1e13"}]}, "out_of_range", "$.upper[0].plus"),
        ({"lower": [{"of": "nominal", "times": "x"}]}, "not_a_number", "$.lower[0].times"),
        (
            {
                "lower": None,
                "upper": None,
                "percents": [{"nominal": 3, "lower": 4, "upper": 3}],
            },
            "limits_out_of_order",
            "$.percents[0]",
        ),
        ({"percents": [{"nominal": 3, "lower": 3, "upper": 4}]}, "unknown_key", "$"),
    ],
)
def test_broken_rule_is_refused_at_its_place(changed, code, where):
    with pytest.raises(CalcError) as refused:
        read_criterion(a_rule(**changed))
    assert (refused.value.code, refused.value.where) == (code, where)
