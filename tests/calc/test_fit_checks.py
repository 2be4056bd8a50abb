"""Lack of fit, held against statsmodels' comparison of a line with free bottle means."""

import numpy as np
import pytest
from statsmodels.api import OLS, add_constant
from statsmodels.stats.anova import anova_lm

import calc
from calc.batch import answers
from calc.fit_checks import fit_checks
from calc.form import read
from calc.stack import stacked, subjects_of
from tests.calc.benches import a_bench, readings, standards

TWICE = {2.0: (1.33360, 1.33363), 3.0: (1.33392, 1.33388), 4.0: (1.33417, 1.33421)}
WATER = (1.33301, 1.33304)


def replicated(rows, **changes):
    """Standards made so exactly that their own error does not count."""
    return a_bench(
        water=readings(*WATER),
        standards=[
            {"percent": percent, "percent_uncertainty": 1e-9, "readings": readings(*values)}
            for percent, values in rows.items()
        ],
        samples=[{"name": "one", "readings": readings(1.3340)}],
        **changes,
    )


def lack(bench):
    return calc.evaluate(bench).lack_of_fit


def test_variance_ratio_is_that_of_an_independent_library():
    rows = {0.0: WATER, **TWICE}
    x = np.array([percent for percent, values in rows.items() for _ in values])
    y = 1e5 * np.array([value for values in rows.values() for value in values])
    by_line = OLS(y, add_constant(x)).fit()
    by_bottle = OLS(y, (x[:, None] == np.unique(x)).astype(float)).fit()
    theirs = anova_lm(by_line, by_bottle)
    found = lack(replicated(TWICE))
    assert found.f == pytest.approx(theirs["F"][1], rel=1e-6)
    assert found.probability == pytest.approx(theirs["Pr(>F)"][1], rel=1e-6)


def test_without_repeats_nothing_is_said():
    bench = a_bench(
        water=readings(1.33301), standards=standards([2, 3, 4], [1.3336, 1.33389, 1.33417])
    )
    assert lack(bench) is None


def test_equal_repeats_of_a_coarse_display_raise_no_alarm():
    rows = {2.0: (1.3336, 1.3336), 3.0: (1.3339, 1.3339), 4.0: (1.3342, 1.3342)}
    coarse = {"resolution": 1e-4, "repeatability": None, "temperature_compensated": False}
    assert lack(replicated(rows, instrument=coarse)).probability > 0.05


def test_bottles_off_the_line_beyond_their_repeats_are_warned_of():
    rows = {2.0: (1.33371, 1.33372), 3.0: (1.33378, 1.33379), 4.0: (1.33418, 1.33419)}
    codes = [warned.code for warned in calc.evaluate(replicated(rows)).warnings]
    assert "lack_of_fit" in codes


def test_rough_standards_explain_what_lies_off_the_line():
    rows = {2.0: (1.33371, 1.33372), 3.0: (1.33378, 1.33379), 4.0: (1.33418, 1.33419)}
    bench = replicated(rows)
    for standard in bench["standards"]:
        standard["percent_uncertainty"] = 0.5
    assert lack(bench).probability > 0.05


def test_three_points_say_nothing_of_bends_and_slips():
    bench = read(a_bench(standards=standards([3, 4], [1.33389, 1.33417])))
    arrays = stacked([bench], [subjects_of(bench)])
    found = fit_checks(arrays, answers(arrays).line, np.array([1e-6]))
    assert np.isnan(found.bend_t).all()
    assert np.isnan(found.outlier_t).all()
