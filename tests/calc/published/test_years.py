"""Results over the years (topic h)."""

from typing import Any

from calc.kendall import mann_kendall, tail_of_s, theil_sen
from calc.line import fit_line
from tests.calc.published.rows import Cases, agree, inputs, published


def trend_with_ties() -> dict[str, Any]:
    y = inputs("H-01")["y"]
    test = mann_kendall(y)
    return {
        "S": test.s,
        "var_S_tie_corrected": test.variance,
        "Z": test.z,
        "p_two_sided": test.p_normal,
        "sen_slope": theil_sen(range(len(y)), y).slope,
    }


def slopes_with_an_outlier() -> dict[str, Any]:
    x, y = inputs("H-02")["x"], inputs("H-02")["y"]
    return {"sen_slope": theil_sen(x, y).slope, "ols_slope": fit_line(x, y).slope}


def tails() -> dict[str, Any]:
    cases = zip(inputs("H-03")["n"], inputs("H-03")["S"], strict=True)
    return {"p": [tail_of_s(s, (1,) * n) for n, s in cases]}


def four_and_five_rising() -> dict[str, Any]:
    found = [mann_kendall(inputs("H-09")[name]) for name in ("y4", "y5")]
    return {
        "S": [test.s for test in found],
        "p_exact_two_sided": [test.p_exact for test in found],
        "Z_normal": [test.z for test in found],
    }


CASES: Cases = {
    "H-01": trend_with_ties,
    "H-02": slopes_with_an_outlier,
    "H-03": tails,
    "H-09": four_and_five_rising,
}


@published(CASES)
def test_trends_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())
