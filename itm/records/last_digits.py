"""How often the last digit of an instrument's readings is 0 or 5, person by person.

Who reads an analogue line to the nearest mark, or leaves digits out, shows it over many benches
and never on one. Counts and the chance of them, and no accusation.
"""

import math
from dataclasses import dataclass

from itm.records.hands import hand_of
from itm.records.models import ProportioningTest, Reading
from itm.records.results import in_force
from itm.registry.models import Instrument

NEWEST = 400  # readings, own choice: some twenty benches
FEWEST = 20  # own choice: below it nothing is said of chance
RARE = 0.001  # own choice
SHARE = 0.2  # two digits of ten, if all come alike often


@dataclass(frozen=True)
class LastDigits:
    person: str
    readings: int
    round: int  # ending in 0 or 5

    @property
    def by_chance(self) -> float:
        """Probability of so many or more, if every last digit came alike often (binomial)."""
        return sum(
            math.comb(self.readings, k) * SHARE**k * (1 - SHARE) ** (self.readings - k)
            for k in range(self.round, self.readings + 1)
        )

    @property
    def words(self) -> str:
        if self.readings < FEWEST:
            return f"fewer than {FEWEST} readings say nothing"
        if self.by_chance < RARE:
            return "so many, or more, in fewer than 1 of 1,000 such series"
        return "nothing remarkable"


def last_digits(instrument: Instrument) -> list[LastDigits]:
    """By the person who read; the first reading of each bottle, because repeats are alike.

    Sealed benches only, set aside or not: a reading is a habit either way. Nothing for a display
    whose steps are not of one digit, where other last digits cannot be.
    """
    step = instrument.resolution.normalize()
    if step.as_tuple().digits != (1,):
        return []
    tests = in_force(ProportioningTest.objects.filter(bench__instrument=instrument))
    rows = Reading.objects.filter(
        bottle__bench__in=tests.order_by().values("bench"), sealed_at__isnull=False
    ).order_by("-pk")
    first: dict[int, tuple[str, int]] = {}
    for bottle, person, value in rows.values_list("bottle", "read_by", "value")[:NEWEST]:
        # The oldest of a bottle comes last.
        first[bottle] = (hand_of(person), int(value / step) % 10)
    counted: dict[str, list[int]] = {}
    for person, digit in first.values():
        counted.setdefault(person, []).append(digit)
    return [
        LastDigits(person, len(digits), sum(digit in (0, 5) for digit in digits))
        for person, digits in sorted(counted.items())
    ]
