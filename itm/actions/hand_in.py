"""Hand a draft in: evaluated, kept with its digest, waiting for a signature."""

import uuid
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

import calc
from calc.canonical import canonical_bytes, digest_bytes
from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.findings import opening
from itm.intake.check import Problem
from itm.intake.complete import problems
from itm.intake.complete_check import problems_of_check
from itm.records import dating, states
from itm.records.kinds import kind_of
from itm.records.models import ConcentrateCheck, Move, ProportioningTest, Record
from itm.records.models.kept import on

PROBLEMS: Mapping[type[Record], Callable[[Any], list[Problem]]] = {
    ProportioningTest: problems,
    ConcentrateCheck: problems_of_check,
}


@transaction.atomic
def hand_in(*, actor: Actor, key: uuid.UUID, at: datetime, once: uuid.UUID | None = None) -> Record:
    """May run twice: the same `once` returns what the first time made. May be part of a whole
    day that comes in at once, so its transaction can be another's.

    Raises NotFound, Forbidden, Conflict; Refused wrong_state, incomplete, no_result, to_come.
    """
    record = states.locked(actor, key)
    states.require(actor, "hand_in", record)
    if once is not None and Move.objects.filter(once=once, **on(record)).exists():
        return record
    kind, draft = kind_of(record), record.state == record.State.DRAFT
    if draft and (left := PROBLEMS[type(record)](record)):
        more = f" ({len(left) - 1} more)" if len(left) > 1 else ""
        raise Refused("incomplete", f"{left[0].sentence}{more}", left[0].place)
    columns: dict[str, Any] = _day_of(record) if draft else {}
    for name, value in columns.items():
        setattr(record, name, value)
    if draft:
        dating.require_come(record, at)
    try:
        evaluation = kind.evaluate(record, actor=actor)
    except calc.CalcError as refusal:
        raise Refused("no_result", refusal.message, step_of(record)) from refusal
    columns |= {
        **kind.outcome(evaluation.result),
        "handed_in_at": at,
        "handed_in_by": actor.user,
    }
    loaded = kind.whole(record.pk)
    for name, value in columns.items():
        setattr(loaded, name, value)
    data = canonical_bytes(kind.document(loaded, evaluation))
    states.move(
        actor=actor, record=record, verb="hand_in", at=at, document=data,
        digest=digest_bytes(data), once=once, columns=columns,
    )  # fmt: skip
    # Now and not when it is signed: until then a bad result could be kept from the owner.
    opening.after_hand_in(actor=actor, record=loaded, result=evaluation.result, at=at)
    return record


def step_of(record: Record) -> str:
    """Where a result is mended that the engine refuses."""
    direct = isinstance(record, ProportioningTest) and record.is_direct
    return "measure" if direct else "bench"


def _day_of(record: Record) -> dict[str, Any]:
    """A test was done on the day that it was started, whatever was planned."""
    if isinstance(record, ProportioningTest) and record.visit.started_at:
        return {"tested_on": date_at(record.site.time_zone, record.visit.started_at)}
    return {}
