"""Slips of arithmetic and of judging, and what the engine does instead.

Sizes are arithmetic. Limits belong to the band and are held against the plain value: NFPA 11,
section on induction rate. The slips themselves are common practice, no published source.
"""

import json

import numpy as np
import pytest
from scipy import stats

import calc
from calc.commands import COMMANDS
from tests.calc.benches import readings, standards
from tests.calc.pitfalls.bench import answer, codes, shown, true_bench

# A bench session of the trade with a four-decimal meter; common practice, no published source.
SESSION = ([0.0, 2.0, 3.0, 4.0], [1.3331, 1.3334, 1.3335, 1.3338])


def numbers_named(value, name):
    if isinstance(value, dict):
        own = [value[name]] if name in value else []
        return own + [n for inner in value.values() for n in numbers_named(inner, name)]
    if isinstance(value, list):
        return [n for inner in value for n in numbers_named(inner, name)]
    return []


def test_two_flow_points_are_never_averaged():
    # 2.7 and 3.6 would make a fine 3.15.
    samples = [
        {"name": name, "readings": readings(shown(percent))}
        for name, percent in (("minimum", 2.7), ("design", 3.6))
    ]
    result = calc.evaluate(true_bench(samples=samples))
    assert [point.limits for point in result.flow_points] == ["lean", "in band"]
    percents = numbers_named(result.as_dict(), "percent")
    assert percents
    assert not any(abs(percent - 3.15) < 0.3 for percent in percents)


@pytest.mark.parametrize(
    ("percent", "printed", "side"), [(2.96, "3.0", "lean"), (3.94, "3.9", "rich")]
)
def test_verdict_comes_before_rounding(percent, printed, side):
    result = answer(true_bench(sample=percent))
    assert f"{result.percent:.1f}" == printed
    assert result.limits == side


@pytest.mark.parametrize("percent", [3.0, 3.9])
def test_limit_itself_belongs_to_the_band_and_settles_nothing(percent):
    result = answer(true_bench(sample=percent))
    assert (result.limits, result.certainty) == ("in band", "undecided")
    assert result.probability_of_limits == pytest.approx(0.5, abs=0.02)


def test_line_through_two_points_is_refused():
    bench = true_bench(include_water=False)
    bench["standards"] = bench["standards"][:2]
    with pytest.raises(calc.CalcError) as refused:
        calc.evaluate(bench)
    assert refused.value.code == "too_few_percents"


def test_line_has_its_own_intercept_and_is_that_of_an_independent_library():
    percents, values = SESSION
    bench = true_bench(
        water=readings(values[0]), standards=standards(percents[1:], values[1:]), concentrate=None
    )
    line, other = calc.evaluate(bench).line, stats.linregress(percents, values)
    assert line.slope == pytest.approx(other.slope, rel=1e-9)
    assert line.intercept == pytest.approx(other.intercept, rel=1e-12)
    assert line.intercept != pytest.approx(values[0], abs=1e-5)


def test_percent_against_reading_would_be_another_line():
    # A spreadsheet that fits the other way round next year moves the same sample by 0.05 points.
    percents, values = SESSION
    bench = true_bench(
        water=readings(values[0]),
        standards=standards(percents[1:], values[1:]),
        concentrate=None,
        samples=[{"name": "design", "readings": readings(1.3338)}],
    )
    the_other_way = np.polyval(np.polyfit(np.subtract(values, 1.333), percents, 1), 8e-4)
    assert answer(bench).percent == pytest.approx(4.362, abs=5e-4)
    assert 0.03 < answer(bench).percent - the_other_way < 0.3


def test_rich_inside_its_band_still_empties_the_tank_early():
    # 300 L last 10 min at 1000 L/min and 3.0 %; at 3.9 % they end after 7.7.
    point = answer(true_bench(sample=3.9))
    assert point.limits == "in band"
    supply = COMMANDS["supply"](
        {
            "usable_volume_l": 300,
            "required_minutes": 10,
            "demands": [{"name": "all", "solution_flow_l_min": 1000, "percent": point.percent}],
        }
    )
    assert supply["minutes"] == pytest.approx(7.69, abs=0.005)
    assert supply["enough"] is False


def test_pass_alone_is_not_all_that_is_kept():
    # 3.02 with ± 0.16 is in the band and not settled: value, interval, rule and probability stay.
    bench = true_bench(sample=3.02)
    kept = json.loads(json.dumps(calc.evaluate(bench).as_dict()))
    (point,) = kept["flow_points"]
    assert (point["limits"], point["certainty"]) == ("in band", "undecided")
    assert point["interval"][0] < kept["band"]["lower"] < point["percent"]
    assert 0.5 < point["probability_of_limits"] < 0.75


def test_good_bench_is_quiet_and_settled():
    # The frame of all these slips: without one, nothing is warned of.
    bench = true_bench()
    assert codes(calc.evaluate(bench)) == set()
    assert (answer(bench).limits, answer(bench).certainty) == ("in band", "settled")
