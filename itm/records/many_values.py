"""Many values of concentrate bottles at once, as a table brings them, and all set aside again."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core import history
from itm.core.clock import date_at
from itm.records.checking import (
    locked_check,
    require_free,
    require_in_use,
    require_measured_on,
)
from itm.records.models import ConcentrateCheck, ConcentrateSample, SampleValue


@dataclass(frozen=True)
class NewValue:
    """One property of one bottle, judged before it comes here."""

    sample: ConcentrateSample
    name: str
    value: Decimal
    value_typed: str
    temperature_c: Decimal | None
    temperature_typed: str
    origin: str
    method: str = ""
    measured_on: date | None = None
    entered_at: datetime | None = None  # where nobody noted it, when the table is taken in
    set_aside_reason: str = ""
    set_aside_at: datetime | None = None  # where nobody noted it, when it was entered


@transaction.atomic
def add_values(
    *, actor: Actor, values: Sequence[NewValue], at: datetime, name: str
) -> list[SampleValue]:
    """In the order given, of bottles of any number of checks. The history of each check notes the
    table (`name`) and not each of them.

    Raises Forbidden; Conflict; Refused not_draft, withdrawn, measured_before, day_ahead.
    """
    made: list[SampleValue] = []
    for check, some in _by_check(values).items():
        locked_check(actor, check)
        held = SampleValue.objects.filter(sample__concentrate_check=check, set_aside_at=None)
        there = {(value.sample_id, value.name): value for value in held}
        for one in some:
            require_in_use(one.sample)
            noted_on = date_at(check.site.time_zone, one.entered_at or at)
            require_measured_on(one.sample, one.measured_on, noted_on)
            if not one.set_aside_reason:
                require_free(there.get((one.sample.pk, one.name)))
        rows = [
            SampleValue(
                sample=one.sample, name=one.name, value=one.value, value_typed=one.value_typed,
                temperature_c=one.temperature_c, temperature_typed=one.temperature_typed,
                origin=one.origin, method=one.method, measured_on=one.measured_on,
                entered_at=one.entered_at or at, entered_by=actor.person, **_aside(actor, one, at),
            )
            for one in some
        ]  # fmt: skip
        text = f"{len(rows)} value{'s'[: len(rows) != 1]} from {name}"
        with history.bulk(actor, "imported", SampleValue, text=text, of=check):
            made += SampleValue.objects.bulk_create(rows)
    return made


def _aside(actor: Actor, one: NewValue, at: datetime) -> dict[str, Any]:
    if not one.set_aside_reason:
        return {}
    return {
        "set_aside_reason": one.set_aside_reason,
        "set_aside_at": one.set_aside_at or one.entered_at or at,
        "set_aside_by": actor.person[:120],
    }


def _by_check(values: Iterable[NewValue]) -> dict[ConcentrateCheck, list[NewValue]]:
    """Always in the same order, so that two tables never wait for each other."""
    out: dict[ConcentrateCheck, list[NewValue]] = defaultdict(list)
    for one in values:
        out[one.sample.concentrate_check].append(one)
    return {check: out[check] for check in sorted(out, key=lambda check: check.pk)}


@transaction.atomic
def set_all_aside(*, actor: Actor, keys: Iterable[UUID], reason: str, at: datetime) -> None:
    """Those that still count, with one reason and one line of history a check. May run twice.

    Raises Forbidden; Refused not_draft.
    """
    rows = SampleValue.objects.filter(key__in=list(keys), set_aside_at=None)
    checks = ConcentrateCheck.objects.filter(samples__values__in=rows).distinct()
    for check in list(checks.order_by("pk")):
        locked_check(actor, check)
        with history.bulk(actor, "set_aside", SampleValue, text=reason, of=check):
            rows.filter(sample__concentrate_check=check).update(
                set_aside_reason=reason[:200], set_aside_at=at, set_aside_by=actor.person[:120]
            )
