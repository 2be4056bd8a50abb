"""How the readings of a record came in: facts for whoever signs it, sends it back or looks on.

An honest bench takes its time and scatters. Whether this one did is for a person to say, so nothing
here judges. Not on the report: what is remarkable stands among its warnings.
"""

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import Any

from itm.core.quantities import parse_decimal
from itm.reports.wording import Fact, SiteClock, facts


def entry_pattern(
    document: dict[str, Any], clock: SiteClock, arrived: tuple[datetime, datetime] | None = None
) -> tuple[Fact, ...]:
    """`arrived`: when the first and the last reading reached the server, by its own clock."""
    readings = [r for b in document["bench"]["bottles"] for r in b["readings"]]
    if not readings:
        return ()
    stamps = sorted(datetime.fromisoformat(r["read_at"]) for r in readings)
    return facts(
        ("Readings", _who(readings)),
        ("Stamped", _span(stamps, clock)),
        ("Between one and the next", _pace(stamps)),
        ("Reached the server", _span(arrived, clock) if arrived else ""),
        ("Temperatures", _temperatures(readings)),
        ("Last digits", _last_digits(document, readings)),
    )


def _who(readings: Sequence[dict[str, Any]]) -> str:
    people = Counter(r["read_by"] for r in readings)
    return f"{len(readings)}: " + "; ".join(f"{n} by {person}" for person, n in people.items())


def _span(stamps: Sequence[datetime], clock: SiteClock) -> str:
    lasted = (stamps[-1] - stamps[0]).total_seconds()
    return (
        f"{clock.time(stamps[0].isoformat())} to {clock.time(stamps[-1].isoformat())}, "
        f"{_length(lasted)} in all"
    )


def _pace(stamps: Sequence[datetime]) -> str:
    gaps = [(b - a).total_seconds() for a, b in pairwise(stamps)]
    if not gaps:
        return ""
    return f"half of them within {_length(median(gaps))}; the shortest {_length(min(gaps))}"


def _length(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


def _temperatures(readings: Sequence[dict[str, Any]]) -> str:
    noted = Counter(r["temperature_c"] for r in readings if r["temperature_c"])
    if not noted:
        return "none noted"
    (most, times) = noted.most_common(1)[0]
    return f"noted with {sum(noted.values())} of {len(readings)}; {most} °C with {times} of them"


def _last_digits(document: dict[str, Any], readings: Sequence[dict[str, Any]]) -> str:
    step = Decimal(document["bench"]["instrument"]["resolution"]).normalize()
    if step.as_tuple().digits != (1,):
        return ""
    digits = [int(parse_decimal(r["value"]) / step) % 10 for r in readings]
    count = sum(digit in (0, 5) for digit in digits)
    return (
        f"0 or 5 in {count} of {len(digits)}; where every digit comes alike often, "
        f"about {len(digits) / 5:.0f}"
    )
