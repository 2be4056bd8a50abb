"""How numbers and times are written, on pages and on paper alike.

Nothing is rounded into contradiction: a figure gets as many digits as it takes to lie on the same
side of every limit as the value that was judged.
"""

import re
from collections.abc import Iterable
from datetime import date, datetime, tzinfo
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal, InvalidOperation
from zoneinfo import ZoneInfo

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
THIN_SPACE = "\u2009"
MINUS = "\u2212"
FEWEST_DIGITS, MOST_DIGITS = 2, 4
ON_THE_LIMIT = Decimal("1e-9")  # a percent this near to a limit lies on it (rule of the verdict)


def figure(value: float, edges: Iterable[float | str] = (), *, fewest: int, most: int) -> str:
    """The value with `fewest` digits, or as many more as it takes to agree about the edges.

    Where `most` digits would still fall on an edge, the last digit is rounded away from it.
    """
    exact = Decimal(repr(float(value)))
    limits = [Decimal(str(edge)) for edge in edges]
    wrong: list[Decimal] = []
    for digits in range(fewest, most + 1):
        shown = exact.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_EVEN)
        wrong = [edge for edge in limits if side(exact, edge) != side(shown, edge)]
        if not wrong:
            return written(shown)
    away = ROUND_CEILING if exact > wrong[0] else ROUND_FLOOR
    return written(exact.quantize(Decimal(1).scaleb(-most), away))


def written(value: Decimal) -> str:
    """Never “-0.00”: a minus before nothing reads like a fault."""
    return f"{abs(value) if value == 0 else value:f}"


def percent(value: float | None, limits: tuple[float, float] | None = None) -> str:
    """The percent with two digits, or as many more as it takes to agree with its verdict.

    3.9004 against an upper limit of 3.9 is rich, so "3.90" would contradict the word beside it.
    """
    if value is None:
        return ""
    return figure(value, limits or (), fewest=FEWEST_DIGITS, most=MOST_DIGITS)


def chance(probability: float, wanted: float | None = None) -> str:
    """Out of 100, with the digits it takes not to reach a threshold it misses, nor 0 or 100.

    Near to 100 a tenth is enough, because no answer here is sure to the millionth; a small chance
    keeps its digits, because it is a chance of error.
    """
    ends = [0.0, 100.0]
    shown = figure(100 * probability, ends, fewest=0, most=1 if probability > 0.5 else 4)
    if wanted is None or (float(shown) >= 100 * wanted) == (probability >= wanted):
        return shown
    return figure(100 * probability, [*ends, 100 * wanted], fewest=0, most=4)


def plainly(value: float, significant: int) -> str:
    """So many significant digits and never an exponent: 0.0000086 and not 8.6e-06."""
    return f"{Decimal(f'{value:.{significant}g}'):f}"


def side(value: Decimal, edge: Decimal) -> int:
    """-1 below the limit, 0 on it, 1 above it."""
    if abs(value - edge) <= ON_THE_LIMIT:
        return 0
    return 1 if value > edge else -1


def day(value: date | None) -> str:
    """12 Nov 2026, in every locale: a report must not read 11/12 here and 12/11 there."""
    return "" if value is None else f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def instant(value: datetime | None, zone: tzinfo | str = "UTC") -> str:
    """12 Nov 2026 14:05 +01:00, on the clock of the site's zone."""
    if value is None:
        return ""
    there = value.astimezone(ZoneInfo(zone) if isinstance(zone, str) else zone)
    offset = there.isoformat(timespec="minutes")[16:]
    return f"{day(there)} {there:%H:%M} {offset}"


def thin(value: object) -> str:
    """Thousands set apart by a thin space: 1 900 and 12 500.25. Text that is no number stays."""
    text = str(value)
    try:
        Decimal(text)
    except InvalidOperation:
        return text
    whole, point, rest = text.partition(".")
    sign, digits = (whole[0], whole[1:]) if whole[:1] in ("-", "+") else ("", whole)
    if not digits.isdecimal():
        return text
    return sign + re.sub(r"(?<=\d)(?=(?:\d{3})+$)", THIN_SPACE, digits) + point + rest
