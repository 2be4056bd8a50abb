"""Take what was measured of one bottle as typed: the good lines saved, the others handed back."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.intake.check import Problem
from itm.intake.concentrate import judge_value
from itm.records.checking import add_value
from itm.records.models import ConcentrateSample, SampleValue


@dataclass(frozen=True)
class ValueEntry:
    """One property as a door got it. `key` is the client's own: a repeat saves nothing twice.
    `method` and `measured_on` may stay open."""

    key: uuid.UUID
    name: str
    number: str
    unit: str
    temperature: str
    method: str = ""
    measured_on: date | None = None

    @property
    def place(self) -> str:
        return f"value-{self.name}"

    @property
    def temperature_place(self) -> str:
        return f"temperature-{self.name}"


@dataclass(frozen=True)
class TakenValues:
    """What became of the entries; a problem stands at the place of its entry."""

    saved: list[SampleValue]
    problems: list[Problem]


@transaction.atomic
def take_values(
    *, actor: Actor, sample: ConcentrateSample, entries: Sequence[ValueEntry], origin: str,
    at: datetime,
) -> TakenValues:  # fmt: skip
    """Save every entry that can be a value. May run twice. An empty number is no value and is
    passed over. Raises Forbidden; Refused not_draft, withdrawn."""
    saved: list[SampleValue] = []
    problems: list[Problem] = []
    for entry in entries:
        if not entry.number.strip():
            continue
        judged = judge_value(
            entry.name, entry.number, entry.unit, entry.temperature, place=entry.place,
            temperature_place=entry.temperature_place,
        )  # fmt: skip
        if judged.value is None or judged.problems:
            problems += judged.problems
            continue
        try:
            saved.append(
                add_value(
                    actor=actor, sample=sample, name=entry.name, value=judged.value,
                    value_typed=judged.typed, temperature_c=judged.temperature_c,
                    temperature_typed=entry.temperature, origin=origin, at=at, key=entry.key,
                    method=entry.method, measured_on=entry.measured_on,
                )
            )  # fmt: skip
        except Conflict as conflict:
            problems.append(Problem(entry.place, conflict.code, conflict.sentence))
        except Refused as refusal:
            if refusal.code in ("not_draft", "withdrawn"):
                raise
            there = refusal.place if refusal.place == "measured_on" else entry.place
            problems.append(Problem(there, refusal.code, refusal.sentence))
    return TakenValues(saved, problems)
