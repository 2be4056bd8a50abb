"""Take readings as typed: judged one by one, the good ones saved, the others handed back."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.core.quantities import parse_decimal
from itm.intake.check import Problem, judge
from itm.intake.doubts import Read, questions
from itm.intake.fields import Display
from itm.records.bench import add_reading
from itm.records.bench_sheet import Sheet, Stand
from itm.records.models import Bench, Bottle, Reading


@dataclass(frozen=True)
class Entry:
    """One reading as a door got it. `key` is the client's own: a repeat saves nothing twice."""

    key: uuid.UUID
    bottle: Bottle
    value_typed: str
    temperature_typed: str

    @property
    def place(self) -> str:
        return f"value-{self.key}"

    @property
    def temperature_place(self) -> str:
        return f"temperature-{self.key}"


@dataclass(frozen=True)
class Taken:
    """What became of the entries; a problem stands at the place of its entry."""

    saved: list[Reading]
    problems: list[Problem]


@transaction.atomic
def take_readings(*, actor: Actor, sheet: Sheet, entries: Sequence[Entry], at: datetime) -> Taken:
    """Save every entry that can be a reading, in the order given. May run twice.

    An entry without a value is no reading and is passed over. Raises Forbidden.
    """
    saved: list[Reading] = []
    problems: list[Problem] = []
    for entry in entries:
        if not entry.value_typed.strip():
            continue
        one = take_reading(
            actor=actor, display=sheet.bench.instrument, entry=entry,
            at=at,
        )  # fmt: skip
        saved += one.saved
        problems += one.problems
    return Taken(saved, problems)


def take_reading(*, actor: Actor, display: Display, entry: Entry, at: datetime) -> Taken:
    """One entry: judged against the display, and saved unless something is wrong with it.

    Raises Forbidden.
    """
    judged = judge(
        entry.value_typed, entry.temperature_typed, display,
        place=entry.place, temperature_place=entry.temperature_place,
    )  # fmt: skip
    if judged.problems:
        return Taken([], list(judged.problems))
    try:
        reading = add_reading(
            actor=actor, bottle=entry.bottle, value_typed=entry.value_typed,
            temperature_typed=entry.temperature_typed, at=at, key=entry.key,
        )  # fmt: skip
    except (Refused, Conflict) as refusal:
        return Taken([], [Problem(entry.place, refusal.code, refusal.sentence)])
    return Taken([reading], [])


@dataclass(frozen=True)
class AsSet:
    """The instrument of a bench with the settings that it had there."""

    method: str
    unit: str
    resolution: Decimal
    interpolated: bool
    width: float
    steps_in_words: str
    repeatability: Decimal | None
    temperature_compensated: bool
    compensates_from_c: Decimal | None
    compensates_to_c: Decimal | None


def as_set(bench: Bench) -> AsSet:
    meter = bench.instrument
    return AsSet(
        meter.method, meter.unit, meter.resolution, meter.interpolated, meter.width,
        meter.steps_in_words, meter.repeatability, bench.compensates, meter.compensates_from_c,
        meter.compensates_to_c,
    )  # fmt: skip


def doubts(stands: Iterable[Stand], bench: Bench) -> dict[str, str]:
    """Question at each reading that is odd among those in force, by the reading's key."""
    lines = [
        AtBottle(stand, str(one.key), one.value_typed, one.temperature_c, one.read_at, one.sequence)
        for stand in stands
        for one in stand.in_force
    ]
    return asked_of(lines, as_set(bench))


@dataclass(frozen=True)
class AtBottle:
    """One reading that counts, saved or still in a file; `place` is what a question names."""

    stand: Stand
    place: str
    value_typed: str
    temperature_c: Decimal | None
    read_at: datetime
    sequence: int

    @property
    def taken_at(self) -> datetime | None:
        return self.stand.bottle.taken_at


def asked_of(readings: Iterable[AtBottle], display: Display) -> dict[str, str]:
    """Question at each reading that is odd among all of them, by its place."""
    ordered = sorted(readings, key=lambda one: (one.read_at, one.sequence))
    reads = [
        Read(
            place=one.place,
            bottle=str(one.stand.bottle.key),
            role=one.stand.bottle.role,
            percent=one.stand.percent if one.stand.bottle.role in ("water", "standard") else None,
            sequence=number,
            value=parse_decimal(one.value_typed),
            temperature_c=one.temperature_c,
        )
        for number, one in enumerate(ordered, start=1)
    ]
    return {q.place: q.sentence for q in questions(reads, display)}
