"""The acceptance band, on which side of it a result lies, and how sure that is."""

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

import numpy as np

from calc.errors import CalcError, quoted
from calc.student import probability_below

IN_BAND, LEAN, RICH = "in band", "lean", "rich"
WORDS = {0: IN_BAND, -1: LEAN, 1: RICH}
SETTLED, UNDECIDED = "settled", "undecided"
ON_THE_LIMIT = 1e-9  # %, own choice: far below any instrument, above float dust


@dataclass(frozen=True, slots=True)
class Band:
    """Limits in percent by volume, exact decimals, both inside the band."""

    lower: Decimal
    upper: Decimal

    @property
    def width(self) -> float:
        """Points from one limit to the other.

        Source: arithmetic. Check: arithmetic.
        """
        return float(self.upper - self.lower)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Where results lie and with what probability; arrays of one shape."""

    side: Any  # -1 lean, 0 in band, 1 rich
    probability_in_band: Any
    probability_lean: Any
    probability_of_limits: Any


def decimal_as_written(number: Decimal | float | str, where: str) -> Decimal:
    """The decimal that was written; for a float the shortest one that reads back as itself.

    3 × 1.3 in binary is not 3.9, so limits never touch binary arithmetic.
    """
    try:
        written = Decimal(str(number))
    except InvalidOperation:
        raise CalcError("not_a_number", where, got=quoted(str(number))) from None
    if not written.is_finite():
        raise CalcError("not_finite", where)
    return written


def custom_band(
    lower: Decimal | float | str, upper: Decimal | float | str, where: str = "limits"
) -> Band:
    """Band with limits given as numbers, 0 <= lower < upper <= 100 (percent by volume).

    Raises: not_a_number, not_finite, limits_out_of_order.
    Source: the limits are the caller's. Check: fixtures/reference/check-values.json G-09.
    """
    given = Band(decimal_as_written(lower, "lower"), decimal_as_written(upper, "upper"))
    if not 0 <= given.lower < given.upper <= 100:
        raise CalcError("limits_out_of_order", where, lower=lower, upper=upper)
    return given


def side(percent: Any, lower: Any, upper: Any) -> Any:
    """On which side of a band plain values lie: -1 lean, 0 in band, 1 rich.

    Parameters
    ----------
    percent : array_like, finite, % by volume, not rounded.
    lower, upper : array_like, % by volume, broadcast to percent.

    Returns
    -------
    Whole numbers, broadcast shape. A percent within 1e-9 of a limit lies on it and is inside.

    Notes: no uncertainty, as codes ask. The 1e-9 stands far above what a double loses and far
    below any instrument, so that neither binary arithmetic nor a display decides.
    Source: NFPA 11, section on induction rate: limits belong to the band. Check:
    fixtures/reference/check-values.json G-01, G-07, G-09.
    """
    rich = np.asarray(percent) > upper + ON_THE_LIMIT
    return rich.astype(np.int8) - (np.asarray(percent) < lower - ON_THE_LIMIT)


def limits(percent: float, band: Band) -> str:
    """The word for the side on which one plain value lies: in band, lean or rich.

    Source: as `side`. Check: fixtures/reference/check-values.json G-01, G-07, G-09.
    """
    return WORDS[int(side(percent, float(band.lower), float(band.upper)))]


def judge(percent: Any, u_percent: Any, dof: Any, lower: Any, upper: Any) -> Verdict:
    """Sides of results and the probability that this statement is right.

    Parameters
    ----------
    percent : array_like, % by volume.
    u_percent : array_like, > 0, % by volume. Standard deviation of what is known of the percent.
    dof : array_like, degrees of freedom as `probability_below` takes them.
    lower, upper : array_like, % by volume.

    Returns
    -------
    Verdict, broadcast shape; probability_of_limits is P(in band), P(below lower) or P(above
    upper), whichever the side states.

    Notes: probabilities of Student's t about the percent.
    Source: JCGM 106:2012, clause 7 (clause number from memory). Check:
    fixtures/reference/check-values.json A-16, A-22.
    """
    below = probability_below(lower, percent, u_percent, dof)
    above = probability_below(percent, upper, u_percent, dof)
    inside = np.clip(1 - below - above, 0.0, 1.0)
    stated = side(percent, lower, upper)
    of_limits = np.where(stated == 0, inside, np.where(stated < 0, below, above))
    return Verdict(stated, inside, below, of_limits)


def certainty(
    verdict: Verdict, wanted: float | None, not_lean: float | None, open_question: bool
) -> str:
    """Whether the limits of one result are settled.

    Parameters
    ----------
    verdict : Verdict of one result.
    wanted : float, 0.5 <= wanted < 1, or None for simple acceptance.
    not_lean : float, 0.5 <= not_lean < 1, or None. Probability of not being lean that an answer
        other than lean needs besides.
    open_question : bool. True when the answer hangs on something nobody has looked at.

    Returns
    -------
    "settled" or "undecided". Simple acceptance is never undecided, not even with an open question:
    it takes the plain value by its own rule, and the warnings stay beside it.

    Source: JCGM 106:2012, clause 8 (simple and guarded acceptance; clause number from memory).
    Check: tests/calc/test_acceptance.py.
    """
    if wanted is None:
        return SETTLED
    sure = verdict.probability_of_limits >= wanted and not open_question
    if not_lean is not None and verdict.side >= 0:
        sure = sure and 1 - verdict.probability_lean >= not_lean
    return SETTLED if sure else UNDECIDED
