"""Student's t as a finite sum, against scipy's general one; published values: published/."""

import math

import numpy as np
import pytest
from scipy.stats import t as student

from calc.student import LEAST_DOF, MOST_DOF, coverage_factor, probability_below


@pytest.mark.parametrize("dof", range(LEAST_DOF, MOST_DOF + 1, 2))
def test_finite_sum_is_student_s_distribution(dof):
    z = np.linspace(-9, 9, 181)
    theirs = student.cdf(z * math.sqrt(dof / (dof - 2)), dof)  # z counts standard deviations
    assert probability_below(z, 0.0, 1.0, float(dof)) == pytest.approx(theirs, abs=1e-14)


def test_each_result_may_have_its_own_degrees_of_freedom():
    z, dof = np.array([-1.0, 0.5, 2.0]), np.array([4.0, 10.0, 20.0])
    together = probability_below(z, 0.0, 1.0, dof)
    alone = [float(probability_below(one, 0.0, 1.0, d)) for one, d in zip(z, dof, strict=True)]
    assert list(together) == alone


@pytest.mark.parametrize(("limit", "expected"), [(1e300, 1.0), (-1e300, 0.0)])
def test_limit_endlessly_far_away_is_certain(limit, expected):
    assert probability_below(limit, 0.0, 1e-300, 4.0) == expected


def test_twice_the_standard_deviation_covers_every_one_of_them():
    # Two-sided 95 % factors of JCGM 100:2008, Table G.2, turned to standard deviations.
    for dof in range(LEAST_DOF, 200):
        assert coverage_factor(dof) * math.sqrt((dof - 2) / dof) <= 2.0
