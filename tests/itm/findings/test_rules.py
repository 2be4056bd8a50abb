"""Which results are a deficiency and in which class, against the sources that the rows name."""

import pytest

from itm.findings import rules
from itm.schedule.models import Programme

# Class words: NFPA 25 since 2011, as the publisher's journal tells them (looked up second-hand):
# impairment – out of order; critical deficiency – could affect performance in a fire; noncritical
# deficiency – does not affect performance and has to be put right. Which finding belongs to which
# is common practice, no published source; a fault that stops foam from arriving is an impairment.
PROPOSED = {
    "lean": "impairment",
    "rich": "critical",
    "supply": "critical",
    "diluted": "impairment",
    "other_liquid": "impairment",
    "water_lost": "critical",
    "stratified": "critical",
    "property": "critical",
    "left_out": "impairment",
    "valve": "impairment",
    "does_not_run": "impairment",
    "bladder": "impairment",
    "not_fit": "impairment",
    "paper": "noncritical",
    "inspection": "critical",
}
BAND = {"lower": 3.0, "upper": 3.9}


def point(limits: str, percent: float, certainty: str = "settled", name: str = "minimum") -> dict:
    return {"name": name, "limits": limits, "percent": percent, "certainty": certainty}


def lasts(minutes: float | None) -> list[dict]:
    return [{"flow_point": "design", "minutes": minutes, "required_minutes": 10.0}]


def test_each_row_proposes_the_class_of_the_trade_and_says_where_it_comes_from():
    found = rules.rules()
    assert {code: rule.severity for code, rule in found.items()} == {
        code: rules.SEVERITY[name] for code, name in PROPOSED.items()
    }
    assert all(rule.source and rule.confidence and rule.ground for rule in found.values())


@pytest.mark.parametrize("certainty", ["settled", "undecided"])
def test_the_plain_value_decides_whatever_its_certainty(certainty):
    # 2.6 % and 4.2 % against 3.0 to 3.9 % (NFPA 11, read second-hand: nominal to the lower of
    # 1.3 times nominal and nominal + 1 point).
    result = {"band": BAND, "flow_points": [
        point("lean", 2.6, certainty), point("rich", 4.2, certainty, "design"),
    ]}  # fmt: skip
    lean, rich = rules.of_test(result, [])
    assert (lean.cause, lean.spot, lean.severity) == ("lean", "minimum", 1)
    assert (rich.cause, rich.spot, rich.severity) == ("rich", "design", 2)
    assert "2.60 %, limits 3 to 3.9 %" in lean.words
    assert ("undecided" in lean.words) == (certainty == "undecided")


def test_a_percent_is_never_rounded_into_its_limits():
    result = {"band": BAND, "flow_points": [point("lean", 2.9996)]}
    [lean] = rules.of_test(result, [])
    assert "2.9996 %" in lean.words


def test_too_few_minutes_are_a_deficiency_of_their_own_beside_a_result_in_band():
    # Worked: 10.0 minutes at 3.0 % are 10.0 × 3.0 / 3.9 = 7.69 minutes at 3.9 %.
    result = {"band": BAND, "flow_points": [point("in band", 3.9, name="design")]}
    [short] = rules.of_test(result, lasts(10.0 * 3.0 / 3.9))
    assert (short.cause, short.severity) == ("supply", 2)
    assert "7.7 min" in short.words
    assert not list(rules.of_test(result, lasts(10.0)))
    assert not list(rules.of_test(result, lasts(None)))


def test_only_what_is_settled_inside_the_limits_shows_a_fix():
    result = {"flow_points": [
        point("in band", 3.2), point("in band", 3.02, "undecided", "design"),
        point("lean", 2.6, name="largest"),
    ]}  # fmt: skip
    assert rules.proved(result) == ["minimum"]


def check(properties=(), strength=(), layers=()) -> dict:
    return {
        "properties": [{"sample": "T1", "property": p, "statement": s} for p, s in properties],
        "strength": [{"statement": s} for s in strength],
        "layers": [{"statement": s} for s in layers],
    }


def test_a_check_opens_by_property_strength_and_layers():
    result = check(
        [("ph", "above"), ("density", "within")], ["diluted"], ["stratified"]
    )  # fmt: skip
    assert [(f.spot, f.severity) for f in rules.of_check(result)] == [
        ("ph", 2), ("strength", 1), ("layers", 2),
    ]  # fmt: skip
    assert rules.cleared(result) == ["density"]


def test_a_check_in_order_opens_nothing_and_clears_what_it_looked_at():
    result = check([("ph", "within")], ["no change shown"], ["no layers shown"])
    assert not list(rules.of_check(result))
    assert rules.cleared(result) == ["ph", "strength", "layers"]


@pytest.mark.parametrize(
    ("wrong", "severity"),
    [(["position"], 1), (["starts"], 1), (["label"], 3), (["label", "fit"], 1), (["places"], 2)],
)
def test_an_inspection_opens_in_the_class_of_its_worst_answer(wrong, severity):
    answers = [
        {"key": key, "label": key, "typed": "no", "in_order": key not in wrong}
        for key in ("position", "starts", "label", "fit", "places")
    ]
    found = rules.of_answers("Look at it", answers, "row 1", "")
    assert found.severity == severity
    assert all(key in found.words for key in wrong)


@pytest.mark.django_db
def test_answers_that_a_rule_names_stand_in_the_programmes():
    asked = {
        want["key"]
        for programme in Programme.objects.prefetch_related("requirements")
        for row in programme.requirements.all()
        for want in row.evidence
    }
    named = {key for rule in rules.rules().values() for key in rule.answers}
    assert named <= asked
