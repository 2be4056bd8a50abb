"""Many readings of one bench at once, as a file brings them, and all of them set aside again."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max

from itm.accounts.actor import Actor
from itm.core import history
from itm.core.quantities import parse_decimal
from itm.records.bench import require_open
from itm.records.models import Bench, Bottle, Reading


@dataclass(frozen=True)
class NewReading:
    """One reading as typed, judged before it comes here."""

    bottle: Bottle
    value_typed: str
    temperature_typed: str
    read_at: datetime | None = None  # where nobody noted it, the moment at which it comes in
    set_aside_reason: str = ""
    set_aside_at: datetime | None = None  # where nobody noted it, when it was read


@transaction.atomic
def add_readings(
    *, actor: Actor, bench: Bench, readings: Sequence[NewReading], at: datetime, text: str
) -> list[Reading]:
    """In the order given and after all others of the bench; the history notes the file (`text`)
    and not each of them.

    Raises Forbidden; Refused not_draft, withdrawn, not_a_number.
    """
    _require_open(actor, bench, [one.bottle for one in readings])
    last = Reading.objects.filter(bottle__bench=bench).aggregate(last=Max("sequence"))["last"] or 0
    rows = [
        Reading(
            bottle=one.bottle,
            sequence=last + number,
            value_typed=one.value_typed,
            value=parse_decimal(one.value_typed, place="value", what="This reading"),
            temperature_typed=one.temperature_typed,
            temperature_c=(
                parse_decimal(one.temperature_typed, place="temperature", what="This temperature")
                if one.temperature_typed
                else None
            ),
            read_at=one.read_at or at,
            read_by=actor.person,
            **_aside(actor, one, at),
        )
        for number, one in enumerate(readings, 1)
    ]
    with history.bulk(actor, "imported", Reading, text=text, of=bench):
        return Reading.objects.bulk_create(rows)


def _aside(actor: Actor, one: NewReading, at: datetime) -> dict[str, Any]:
    if not one.set_aside_reason:
        return {}
    return {
        "set_aside_reason": one.set_aside_reason,
        "set_aside_at": one.set_aside_at or one.read_at or at,
        "set_aside_by": actor.person[:120],
    }


@transaction.atomic
def set_all_aside(
    *, actor: Actor, bench: Bench, keys: Iterable[UUID], reason: str, at: datetime
) -> int:
    """Those that are still in force, with one reason and one line of history. May run twice.

    Raises Forbidden; Refused not_draft.
    """
    rows = Reading.objects.filter(bottle__bench=bench, key__in=list(keys), set_aside_at=None)
    held = list(rows.select_related("bottle"))
    _require_open(actor, bench, [one.bottle for one in held])
    with history.bulk(actor, "set_aside", Reading, text=reason, of=bench):
        return rows.update(
            set_aside_reason=reason[:200], set_aside_at=at, set_aside_by=actor.person[:120]
        )


def _require_open(actor: Actor, bench: Bench, bottles: Iterable[Bottle]) -> None:
    for bottle in {one.pk: one for one in bottles}.values():
        require_open(actor, bench, bottle)
