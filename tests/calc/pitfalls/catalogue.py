"""The numbered slips of a bench, of flow and of judging, and which of them no reading can show.

The numbers are those of our own list of how tests go wrong: 1 to 13 at the instrument, 14 to 27 of
samples and standards, 28 to 39 of flow and arithmetic, 65 to 74 of judging. That they are met is
common practice, no published source. Those of dates, files and people are no matter of the engine.
"""

from collections.abc import Callable
from typing import Any

INSTRUMENT, MIXTURES = range(1, 14), range(14, 28)
ARITHMETIC, JUDGING = range(28, 40), range(65, 75)
ALL = {*INSTRUMENT, *MIXTURES, *ARITHMETIC, *JUDGING}

# What one test as plain data does not hold, so that the engine cannot warn of it.
NOT_SEEN = {
    4: "a habit of last digits shows over many benches of a person, and one bench is all it gets",
    8: "a bench holds no dates, so a certificate that has ended stands with the instrument",
    10: "a bench holds one setting of compensation, which is asked for once for all bottles",
    28: "a bench holds no flow, so the listed range stands with the proportioner",
    29: "a flow is a number; whether a meter or a nameplate gave it stands beside it in the record",
    33: "2.30 and 2:30 are both a length of time; only the field they are typed into can ask",
    66: "the cold limit of the site and its viscosity are not part of a bench",
    72: "litres released and collected stand in the record of the test day",
}


def pitfall(*numbers: int) -> Callable[[Any], Any]:
    """Say which slips a test shows; `test_every_pitfall` counts them."""

    def mark(test: Any) -> Any:
        test.pitfalls = numbers
        return test

    return mark
