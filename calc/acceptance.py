"""The acceptance band, on which side of it a result lies, and how sure that is."""

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from calc.errors import CalcError, quoted
from calc.student import probability_below

IN_BAND, LEAN, RICH = "in band", "lean", "rich"
SETTLED, UNDECIDED = "settled", "undecided"
ON_THE_LIMIT = Decimal("1e-9")  # %, own choice: far below any instrument, above float dust


@dataclass(frozen=True, slots=True)
class Band:
    """Limits in percent by volume, exact decimals, both inside the band."""

    lower: Decimal
    upper: Decimal


@dataclass(frozen=True, slots=True)
class Verdict:
    """Where results lie and with what probability; one entry or one array each."""

    limits: Any
    probability_in_band: Any
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


def band(nominal: Decimal | float | str) -> Band:
    """Acceptance band of the common rule.

    Parameters
    ----------
    nominal : Decimal, float, int or str as typed, 0 < nominal <= 100, % by volume.

    Returns
    -------
    Band, exact decimals.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: from nominal to the lower of 1.3 nominal and nominal + 1 point; not rounded.
    Source: NFPA 11, section on induction rate (12.6.5 in the recent numbering); UL 162 the same.
    Check: fixtures/reference/check-values.json G-01, G-02, G-07.
    """
    lower = decimal_as_written(nominal, "nominal")
    if not 0 < lower <= 100:
        raise CalcError("out_of_range", "nominal", got=nominal, want="above 0 and at most 100")
    return Band(lower=lower, upper=min(lower * Decimal("1.3"), lower + 1))


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


def limits(percent: float, band: Band) -> str:
    """On which side of the band a plain value lies: in band, lean or rich.

    Parameters
    ----------
    percent : float, finite, % by volume, not rounded.
    band : Band.

    Returns
    -------
    "in band", "lean" or "rich". A percent within 1e-9 of a limit lies on it and is inside.

    Notes: exact decimal comparison; no uncertainty, as codes ask.
    Source: NFPA 11, section on induction rate: limits belong to the band. Check:
    fixtures/reference/check-values.json G-01, G-07, G-09.
    """
    value = decimal_as_written(float(percent), "percent")
    if value < band.lower - ON_THE_LIMIT:
        return LEAN
    return RICH if value > band.upper + ON_THE_LIMIT else IN_BAND


def judge(percent: float, u_percent: float, dof: Any, band: Band) -> Verdict:
    """Limits of one result and the probability that this statement is right.

    Parameters
    ----------
    percent : float, % by volume.
    u_percent : float, > 0, % by volume. Standard uncertainty.
    dof : float, > 0. Degrees of freedom of u_percent.
    band : Band.

    Returns
    -------
    Verdict; probability_of_limits is P(in band), P(below lower) or P(above upper), whichever the
    limits state.

    Notes: probabilities of Student's t about the percent.
    Source: JCGM 106:2012, clause 7 (clause number from memory). Check:
    fixtures/reference/check-values.json A-16, A-22.
    """
    below = float(probability_below(float(band.lower), percent, u_percent, dof))
    above = float(probability_below(percent, float(band.upper), u_percent, dof))
    inside = min(max(1 - below - above, 0.0), 1.0)
    stated = limits(percent, band)
    return Verdict(stated, inside, {IN_BAND: inside, LEAN: below, RICH: above}[stated])


def certainty(probability_of_limits: float, wanted: float | None, open_question: bool) -> str:
    """Whether the limits are settled.

    Parameters
    ----------
    probability_of_limits : float, 0 to 1.
    wanted : float, 0.5 <= wanted < 1, or None for simple acceptance.
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
    return SETTLED if probability_of_limits >= wanted and not open_question else UNDECIDED
