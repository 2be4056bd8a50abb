"""Student's t distribution: coverage factors and probabilities."""

import math
from typing import Any

import numpy as np

LEAST_DOF, MOST_DOF = 4, 20  # even; below 4 there is no fourth moment, above 20 t is nearly normal
SERIES = tuple(math.comb(2 * k, k) / 4**k for k in range(MOST_DOF // 2))


def coverage_factor(dof: Any, coverage: float = 0.95) -> Any:
    """Two-sided factor k of Student's t.

    Parameters
    ----------
    dof : array_like, > 0. Degrees of freedom; infinity gives the normal distribution.
    coverage : float, 0 < coverage < 1. Share of the distribution between -k and k.

    Returns
    -------
    k, same shape as dof, no unit.

    Notes: k is the (1 + coverage)/2 quantile of t with dof degrees of freedom.
    Source: JCGM 100:2008, G.3 and Table G.2. Check: fixtures/reference/check-values.json A-12,
    A-13, A-21.
    """
    from scipy.special import stdtrit  # slow to import, and only results need it

    return stdtrit(dof, (1 + coverage) / 2)


def probability_below(limit: Any, estimate: Any, u_estimate: Any, dof: Any) -> Any:
    """Probability that the true value lies below a limit.

    Parameters
    ----------
    limit, estimate : array_like, one unit.
    u_estimate : array_like, same unit, > 0. Standard deviation of what is known of the value.
    dof : array_like, degrees of freedom: even whole numbers from 4 to 20, or infinity throughout
        for the normal case.

    Returns
    -------
    Probability, 0 to 1, broadcast shape.

    Notes: Student's t stretched to standard deviation u. With z = (limit - estimate)/u and
    c = (dof - 2)/(dof - 2 + z²) the distribution of an even number of degrees of freedom is the
    finite sum 1/2 + z/(2 √(dof - 2 + z²)) Σ binomial(2k, k) (c/4)^k, k below dof/2.
    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.4; JCGM 106:2012,
    clause 7 (clause number from memory). Check: fixtures/reference/check-values.json A-14, A-15,
    A-16, A-22; tests/calc/test_student.py against scipy.
    """
    z = (limit - estimate) / u_estimate
    if np.isscalar(dof) and np.isinf(dof):
        from scipy.special import ndtr  # slow to import, and only published normal cases need it

        return ndtr(z)
    rest = dof - 2
    with np.errstate(all="ignore"):  # a limit endlessly far away is 0 or 1
        whole = rest + z * z
        c = rest / whole
        half_sine = z / (2 * np.sqrt(whole))
    terms = dof // 2
    total = np.zeros(np.broadcast_shapes(np.shape(c), np.shape(terms)))
    for k in range(len(SERIES) - 1, -1, -1):
        total *= c
        total += SERIES[k] * (terms > k)
    return np.where(np.isinf(whole), z > 0, np.clip(0.5 + half_sine * total, 0, 1))
