"""What an instrument's own sealed benches say of its scatter: repeats of one bottle, pooled."""

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Protocol

import calc
from calc.control import repeatability_from_repeats
from calc.inverse import instrument_sd
from calc.readings import at_temperature
from itm.records.loading import BENCH_ORDER
from itm.records.models import Bench, Bottle, ProportioningTest, Reading
from itm.records.models.bench import compensates
from itm.records.results import in_force
from itm.registry.models import Instrument

FAR = 3.5  # standard deviations of a difference of two readings, own choice: 1 in 2000 by chance
# Widths of one reading, of a display its steps, where no repeatability is stated: three are asked
# about.
FAR_STEPS = 2.5
NEWEST = 20  # benches, own choice: the engine counts no more than ten repeats of a history


class Stepped(Protocol):
    """What a reading is read with."""

    @property
    def width(self) -> float: ...
    @property
    def repeatability(self) -> Decimal | None: ...


def alike_within(display: Stepped) -> float:
    """How far two readings of one liquid may lie apart before somebody should look again. What an
    eye reads between marks is less sure than its step, so the width of one reading counts."""
    if display.repeatability is None:
        return FAR_STEPS * display.width
    return FAR * math.sqrt(2) * instrument_sd(display.width, float(display.repeatability))


@dataclass(frozen=True)
class History:
    """Standard deviation of one reading in the unit of the display, and what it rests on."""

    standard_deviation: float
    degrees_of_freedom: float
    bottles: int
    benches: int


def history(instrument: Instrument, *, without: Collection[int] = ()) -> History | None:
    """None without a repeat. `without` names benches that must not count, by primary key: a test
    is not judged by its own readings twice.

    Sealed and in force only, readings set aside left out, as are undiluted concentrate, which is
    too thick to repeat well, and the benches of records that were corrected since.
    """
    tests = in_force(ProportioningTest.objects.filter(bench__instrument=instrument))
    benches = Bench.objects.filter(pk__in=tests.order_by().values("bench")).exclude(pk__in=without)
    newest = benches.order_by("-pk").values("pk")[:NEWEST]
    rows = Reading.objects.filter(
        bottle__bench__in=newest, bottle__withdrawn_reason="",
        sealed_at__isnull=False, set_aside_at=None,
    ).exclude(bottle__role=Bottle.Role.CONCENTRATE)  # fmt: skip
    repeats: dict[tuple[int, int], list[tuple[float, Any]]] = {}
    for bench, bottle, value, temperature, setting in rows.order_by(
        "bottle", *BENCH_ORDER
    ).values_list(
        "bottle__bench", "bottle", "value", "temperature_c", "bottle__bench__compensation"
    ):
        follows = compensates(setting, instrument)
        # What the instrument has corrected already has no temperature to correct for.
        repeats.setdefault((bench, bottle), []).append(
            (float(value), None if follows else temperature)
        )
    return _pooled(instrument, repeats)


def _pooled(
    instrument: Instrument, repeats: Mapping[tuple[int, int], list[tuple[float, Any]]]
) -> History | None:
    usable = {
        place: values
        for place, readings in repeats.items()
        if len(readings) > 1 and len(values := _at_one_temperature(instrument, readings)) > 1
    }
    if not usable:
        return None
    found = repeatability_from_repeats(list(usable.values()))
    return History(
        standard_deviation=found.standard_deviation,
        degrees_of_freedom=found.degrees_of_freedom,
        bottles=len(usable),
        benches=len({bench for bench, _ in usable}),
    )


def _at_one_temperature(
    instrument: Instrument, readings: Iterable[tuple[float, Any]]
) -> list[float]:
    """As they would be at the temperature of the first; empty where that cannot be known."""
    values, temperatures = zip(*readings, strict=True)
    if len(set(temperatures)) == 1:
        return list(values)
    if any(one is None for one in temperatures):
        return []
    noted = [float(one) for one in temperatures]
    try:
        moved = at_temperature(instrument.method, list(values), noted, noted[0])
    except calc.CalcError:  # no temperature that the correction knows
        return []
    return [float(value) for value in moved.reading]
