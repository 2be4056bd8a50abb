"""Odd but possible readings, asked about while the bottle still stands on the table.

Nothing here refuses, changes or sets aside: a question says what is odd and what to do, and a
digit swap that would explain it is only suggested.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from statistics import median

from calc.errors import CalcError
from calc.line import fit_line
from itm.intake.check import Problem
from itm.intake.fields import BRIX, REFRACTIVE_INDEX, Display, decimals_of_step, decimals_typed
from itm.records.repeatability import alike_within

APART_C = Decimal(1)  # °C between bottles, common practice, no published source
OTHER_RANGE = 1000  # µS/cm beside mS/cm


@dataclass(frozen=True)
class Read:
    """One reading that counts; what was set aside is not asked about again."""

    place: str
    bottle: str
    role: str  # water, standard, concentrate, sample
    percent: float | None  # of a standard as made, 0 of water
    sequence: int
    value: Decimal
    temperature_c: Decimal | None


def questions(readings: Sequence[Read], display: Display) -> list[Problem]:
    """At most one question a reading, the most telling first.

    Codes: digits, other_range, replicate, off_line, outside_range, beyond_compensation,
    temperature_apart.
    """
    ordered = sorted(readings, key=lambda read: read.sequence)
    limit = alike_within(display)
    tests = (
        lambda read: _other_range(read, ordered, display),
        lambda read: _replicate(read, ordered, limit),
        lambda read: _off_line(read, ordered, limit),
        lambda read: _outside_range(read, ordered, limit, display),
        lambda read: _digits(read, display),
        lambda read: _beyond_compensation(read, display),
        lambda read: _temperature_apart(read, ordered, display),
    )
    asked = (next((q for test in tests if (q := test(read))), None) for read in ordered)
    return [question for question in asked if question]


def _digits(read: Read, display: Display) -> Problem | None:
    """1.334 from a display that shows 1.3340: perhaps a digit was left out."""
    shows, typed = decimals_of_step(display.resolution), decimals_typed(read.value)
    if typed == shows:
        return None
    has = f"the display has {'' if typed < shows else 'only '}{shows}"
    if display.interpolated:
        has = f"this scale is read to {display.steps_in_words}"
    asks = ": was a digit left out?" if typed < shows else "."
    return Problem(read.place, "digits", f"Typed with {typed} decimals, {has}{asks}")


def _other_range(read: Read, all_read: Sequence[Read], display: Display) -> Problem | None:
    if display.method in (REFRACTIVE_INDEX, BRIX) or read.role == "concentrate":
        return None
    others = [r.value for r in all_read if r.bottle != read.bottle and r.role != "concentrate"]
    if not others or read.value <= 0:
        return None
    ratio = float(read.value) / float(median(others))
    if max(ratio, 1 / ratio) < OTHER_RANGE / 5:
        return None
    return Problem(
        read.place,
        "other_range",
        f"{ratio:.3g} times the other bottles: did the meter switch between µS/cm and mS/cm? "
        f"This bench is in {display.unit}.",
    )


def _replicate(read: Read, all_read: Sequence[Read], limit: float) -> Problem | None:
    """Far from its neighbours of the same bottle; of only two, the later one is asked about."""
    own = [r for r in all_read if r.bottle == read.bottle]
    if len(own) < 2 or (len(own) == 2 and own[1] is not read):
        return None
    # From three on the median of all: the odd one itself cannot move it far.
    expected = own[0].value if len(own) == 2 else median(r.value for r in own)
    if abs(float(read.value - expected)) <= limit:
        return None
    sentence = f"Differs by {abs(read.value - expected):f} from this bottle's other readings."
    swap = _swap(read.value, float(expected), limit)
    return Problem(read.place, "replicate", sentence + (swap or _after_concentrate(read, all_read)))


def _after_concentrate(read: Read, all_read: Sequence[Read]) -> str:
    before = [r for r in all_read if r.sequence < read.sequence]
    if before and before[-1].role == "concentrate" and read.role != "concentrate":
        return (
            " It came right after the undiluted concentrate: wash the prism and read it again "
            "while it is on the table?"
        )
    return " Read it again with a fresh drop while it is on the table?"


def _off_line(read: Read, all_read: Sequence[Read], limit: float) -> Problem | None:
    """A standard or the water off the line of the other bottles, where a digit swap explains it.

    Without such a swap the result page says what the whole bench says; one bottle alone cannot.
    """
    if read.percent is None:
        return None
    others: dict[str, list[Read]] = {}
    for r in all_read:
        if r.percent is not None and r.bottle != read.bottle:
            others.setdefault(r.bottle, []).append(r)
    points = [(rs[0].percent, float(median(r.value for r in rs))) for rs in others.values()]
    try:
        line = fit_line([p for p, _ in points], [v for _, v in points])
    except CalcError:
        return None
    expected = float(line.intercept + line.slope * read.percent)
    if abs(float(read.value) - expected) <= limit:
        return None
    swap = _swap(read.value, expected, limit)
    if not swap:
        return None
    return Problem(read.place, "off_line", f"Lies off the line of the other bottles.{swap}")


def _swap(value: Decimal, expected: float, limit: float) -> str:
    """A neighbour by swapped digits that would fit, as a suggestion; nothing without one."""
    for candidate in _swapped(value):
        if abs(float(candidate) - expected) <= limit:
            return (
                f" Did the display show {candidate:f}? Then read it again and set this one aside."
            )
    return ""


def _swapped(value: Decimal) -> Iterable[Decimal]:
    text = f"{value:f}"
    digits = [i for i, c in enumerate(text) if c.isdigit()]
    for a, b in pairwise(digits):
        if text[a] != text[b]:
            swapped = list(text)
            swapped[a], swapped[b] = swapped[b], swapped[a]
            yield Decimal("".join(swapped))


def _outside_range(
    read: Read, all_read: Sequence[Read], limit: float, display: Display
) -> Problem | None:
    """Below the water or above the undiluted concentrate; not asked of a conductivity, because a
    concentrate conducts no more than its mixtures by any rule."""
    if display.method not in (REFRACTIVE_INDEX, BRIX) or read.role not in ("standard", "sample"):
        return None
    water = [r.value for r in all_read if r.role == "water"]
    concentrate = [r.value for r in all_read if r.role == "concentrate"]
    if water and float(read.value) < float(median(water)) - limit:
        return Problem(
            read.place,
            "outside_range",
            f"Reads below the water ({median(water):f}). Read both again while they are on the "
            "table?",
        )
    if concentrate and float(read.value) > float(median(concentrate)) + limit:
        return Problem(
            read.place,
            "outside_range",
            f"Reads above the undiluted concentrate ({median(concentrate):f}). Read it again "
            "with a clean prism while it is on the table?",
        )
    return None


def _beyond_compensation(read: Read, display: Display) -> Problem | None:
    """The range of compensation is data of the instrument; without it nothing is asked."""
    low, high = display.compensates_from_c, display.compensates_to_c
    if not display.temperature_compensated or read.temperature_c is None:
        return None
    if low is None or high is None or low <= read.temperature_c <= high:
        return None
    return Problem(
        read.place,
        "beyond_compensation",
        f"{read.temperature_c.normalize():f} °C, and this instrument compensates from "
        f"{low.normalize():f} to {high.normalize():f} °C only. Bring the bottle into that range "
        "and read it again.",
    )


def _temperature_apart(read: Read, all_read: Sequence[Read], display: Display) -> Problem | None:
    if display.temperature_compensated or read.temperature_c is None:
        return None
    standards = [
        r.temperature_c
        for r in all_read
        if r.role == "standard" and r.bottle != read.bottle and r.temperature_c is not None
    ]
    if not standards or read.role == "concentrate":
        return None
    apart = read.temperature_c - median(standards)
    if abs(apart) < APART_C:
        return None
    side = "warmer" if apart > 0 else "colder"
    return Problem(
        read.place,
        "temperature_apart",
        f"{abs(apart):.1f} °C {side} than the standards, and this instrument does not compensate. "
        "Bring the bottles to one temperature and read again.",
    )
