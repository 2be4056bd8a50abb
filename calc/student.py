"""Student's t distribution: coverage factors and probabilities."""

from typing import Any


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
    u_estimate : array_like, same unit, > 0. Standard uncertainty of the estimate.
    dof : array_like, > 0. Degrees of freedom of u_estimate; infinity gives the normal case.

    Returns
    -------
    Probability, 0 to 1, broadcast shape.

    Notes: T((limit - estimate)/u_estimate) with T the cumulative distribution of Student's t.
    Source: JCGM 106:2012, clause 7 (clause number from memory). Check:
    fixtures/reference/check-values.json A-14, A-15, A-16, A-22.
    """
    from scipy.special import stdtr  # slow to import, and only results need it

    return stdtr(dof, (limit - estimate) / u_estimate)
