"""Budgets: published example of effective degrees of freedom, and the limits of the rule."""

import json
import math

import numpy as np
import pytest

from calc.measured import Part, effective_degrees_of_freedom, measured
from calc.student import coverage_factor


def test_end_gauge_of_the_guide():
    # JCGM 100:2008, H.1.6: u in nm 25, 9.7, 2.9, 16.6 with 18, 25.6, 50 and 2 degrees of freedom
    # gives 32 nm and 16 (values as printed; the guide truncates 16.7).
    u, dof = [25.0, 9.7, 2.9, 16.6], [18, 25.6, 50, 2]
    assert math.sqrt(sum(x * x for x in u)) == pytest.approx(32, abs=0.5)
    assert math.floor(effective_degrees_of_freedom(u, dof)) == 16


def test_equal_parts_add_their_degrees_of_freedom():
    assert effective_degrees_of_freedom([0.1, 0.1], [4, 4]) == pytest.approx(8)


def test_known_parts_leave_infinitely_many():
    assert effective_degrees_of_freedom([0.1, 0.2], [math.inf, math.inf]) == math.inf
    assert effective_degrees_of_freedom([0.0, 0.0], [3, 3]) == math.inf


def test_interval_is_value_and_students_factor():
    result = measured(3.0, [Part("a", 0.03, 5), Part("b", 0.04)])
    assert result.u_percent == pytest.approx(0.05)
    dof = 0.05**4 / (0.03**4 / 5)
    assert result.degrees_of_freedom == pytest.approx(dof)
    assert result.high - 3.0 == pytest.approx(coverage_factor(dof) * 0.05)
    assert result.low + result.high == pytest.approx(6.0)


def test_many_results_at_once_are_the_single_ones():
    many = measured(np.array([3.0, 4.0]), [Part("a", np.array([0.03, 0.05]), 5), Part("b", 0.04)])
    one = measured(4.0, [Part("a", 0.05, 5), Part("b", 0.04)])
    assert many.low[1] == one.low
    assert many.degrees_of_freedom[1] == one.degrees_of_freedom


def test_plain_data_of_a_result_is_json():
    data = measured(3.0, [Part("a", 0.1)]).as_dict()
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert data["degrees_of_freedom"] is None
