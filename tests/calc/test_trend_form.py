"""`trend` from its form: dates in and out, and what is refused. All series are invented."""

import json
from datetime import date

import pytest

from tests.calc.test_command import in_process
from tests.calc.test_commands import answered, path_of_refusal


def a_series(values, **more):
    results = [{"on": f"{2015 + i}-05-04", "value": value} for i, value in enumerate(values)]
    return {"results": results, **more}


FIXED_SYSTEMS = {"code": "fixed-systems", "nominal_percent": 3}


def test_rising_series_gives_slope_and_dates_of_leaving():
    # By hand: 3.40 % rising 0.05 a year reaches 3.9 % in 2025.
    given = a_series([3.4, 3.45, 3.5, 3.55, 3.6, 3.65], criterion=FIXED_SYSTEMS)
    found = answered("trend", given)
    assert found["present"]["statement"] == "rising"
    assert found["present"]["slope_per_year"] == pytest.approx(0.05, rel=2e-3)
    (left,) = found["leaving"]
    assert left["side"] == "above"
    for key in ("earliest_on", "likely_on", "latest_on"):
        assert abs((date.fromisoformat(left[key]) - date(2025, 5, 4)).days) <= 15
    assert found["latest_side"] == "within"


def test_three_results_are_too_few_and_still_answered():
    found = answered("trend", a_series([3.1, 3.2, 3.3], limits={"lower": 3, "upper": 3.9}))
    assert found["present"]["statement"] == "too few results"
    assert found["present"]["interval"] is None
    assert found["leaving"] == []


def test_thirty_results_with_events_and_baseline():
    values = [3.2 + 0.01 * (i % 3) + (0.3 if i >= 15 else 0) for i in range(30)]
    given = a_series(
        values,
        events=[{"on": "2029-12-01", "what": "other lot"}],
        baseline={"value": 3.2, "standard_uncertainty": 0.05},
    )
    given["results"][-1]["standard_uncertainty"] = 0.05
    found = answered("trend", given)
    (step,) = found["steps"]
    assert step["statement"] == "step up"
    assert step["events"] == [{"on": "2029-12-01", "what": "other lot"}]
    assert step["shift"] == pytest.approx(0.3)
    assert found["present"]["statement"] == "not shown"
    assert found["present"]["results"] == 15
    assert found["baseline"]["interval"][0] > 0


def test_result_that_stands_apart_is_named_by_its_day():
    given = a_series([3.20, 3.22, 3.18, 5.20, 3.21, 3.19])
    assert answered("trend", given)["present"]["stands_apart"] is None
    for result in given["results"]:
        result["standard_uncertainty"] = 0.05
    found = answered("trend", given)["present"]
    assert found["stands_apart"] == {"on": "2018-05-04", "value": 5.20}
    assert found["results"] == 6


def test_order_of_the_results_does_not_matter():
    given = a_series([3.4, 3.5, 3.45, 3.6, 3.55, 3.65], criterion=FIXED_SYSTEMS)
    turned = {**given, "results": given["results"][::-1]}
    one, other = answered("trend", given), answered("trend", turned)
    assert one.pop("inputs_digest") != other.pop("inputs_digest")
    assert one == other


def test_property_of_a_tank_may_have_limits_beyond_a_hundred():
    found = answered("trend", a_series([1020, 1019, 1008], limits={"lower": 1010, "upper": 1030}))
    assert found["latest_side"] == "below"


def test_baseline_rule_uses_the_baseline_of_the_form():
    rule = {"code": "baseline", "nominal_percent": 3}
    given = a_series([3.3], criterion=rule, baseline={"value": 3.0})
    assert answered("trend", given)["latest_side"] == "within"
    assert path_of_refusal("trend", a_series([3.3], criterion=rule)) == "$.baseline"


@pytest.mark.parametrize(
    ("changed", "path"),
    [
        ({"results": []}, "$.results"),
        ({"results": [{"on": "2020-13-01", "value": 3}]}, "$.results[0].on"),
        ({"results": [{"on": "20201201", "value": 3}]}, "$.results[0].on"),
        ({"results": [{"on": "0001-01-01", "value": 3}]}, "$.results[0].on"),
        ({"results": [{"on": 2020, "value": 3}]}, "$.results[0].on"),
        ({"results": [{"on": "2020-12-01", "value": 0}]}, "$.results[0].value"),
        ({"results": [{"on": "2020-12-01"}]}, "$.results[0].value"),
        ({"results": [{"on": "2020-12-01", "value": 3}] * 501}, "$.results"),
        ({"events": [{"on": "2020-12-01"}]}, "$.events[0].what"),
        ({"baseline": {"value": -1}}, "$.baseline.value"),
        ({"limits": {"lower": 4, "upper": 3}}, "$.limits"),
        ({"limits": {"lower": "3", "upper": 4}}, "$.limits.lower"),
        ({"limits": {"lower": 3, "upper": 4}, "criterion": FIXED_SYSTEMS}, "$"),
        ({"criterion": {"code": "mine", "nominal_percent": 3}}, "$.criterion.code"),
        (
            {"criterion": {"code": "marine", "nominal_percent": 0}},
            "$.criterion.nominal_percent",
        ),
        (
            {"criterion": {"code": "vehicle-turrets", "nominal_percent": 1}},
            "$.criterion.nominal_percent",
        ),
    ],
)
def test_impossible_series_is_refused_at_its_place(changed, path):
    given = {**a_series([3.2, 3.3]), **changed}
    assert path_of_refusal("trend", given) == path


def test_numbers_at_the_ends_of_their_range_stay_finite():
    results = [
        {"on": f"2020-01-{i + 1:02d}", "value": value}
        for i, value in enumerate([1e12, 1e-12, 1e12, 1e-12, 1e12, 1e-12])
    ]
    limits = {"lower": 0, "upper": 100}
    data = json.dumps({"results": results, "limits": limits}).encode()
    code, _stdout, stderr = in_process("trend", "-", data=data)
    assert (code, stderr) == (0, "")
