"""Correct a sealed record by a new one that names it, says why, and starts as its copy."""

import uuid
from datetime import datetime
from typing import Any

from django.db import models, transaction

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.records import states
from itm.records.loading import whole
from itm.records.models import Bench, Bottle, FlowRun, FlushStep, ProportioningTest, Reading

FRESH = {"id", "key", "sealed_at"}


@transaction.atomic(durable=True)
def amend(*, actor: Actor, key: uuid.UUID, reason: str, at: datetime) -> ProportioningTest:
    """A new draft with copies of bench, runs and readings; the sealed record stays as it is.

    Raises NotFound, Forbidden; Conflict when it is being corrected already; Refused
    reason_missing, wrong_state.
    """
    test = states.locked(actor, key)
    states.require(actor, "amend", test)
    if test.state != ProportioningTest.State.SEALED:
        raise Refused("wrong_state", "Only a sealed record is amended; this one can still change.")
    if not reason.strip():
        raise Refused("reason_missing", "Say what the amendment corrects and why.", "reason")
    if test.amendments.exclude(state=ProportioningTest.State.ABANDONED).exists():
        raise Conflict("This record is being corrected already, or was: go on from there.")
    loaded = whole(test.pk)
    bench = _copy(Bench, loaded.bench, actor)
    draft = _copy(
        ProportioningTest, loaded, actor, bench=bench, state=ProportioningTest.State.DRAFT,
        amends=test, amendment_reason=reason.strip(), limits="", certainty="",
        handed_in_at=None, handed_in_by=None,
    )  # fmt: skip
    for step in loaded.flush_steps.all():
        _copy(FlushStep, step, actor, test=draft)
    for bottle in loaded.bench.bottles.all():
        _copy_bottle(bottle, actor, bench=bench, run=None)
    for run in loaded.runs.all():
        new_run = _copy(FlowRun, run, actor, test=draft)
        for bottle in run.bottles.all():
            _copy_bottle(bottle, actor, bench=bench, run=new_run)
    states.keep(actor=actor, test=draft, verb="amend", at=at, reason=reason.strip())
    return draft


def _copy_bottle(bottle: Bottle, actor: Actor, **changed: Any) -> None:
    new = _copy(Bottle, bottle, actor, **changed)
    for reading in bottle.readings.all():
        _copy(Reading, reading, actor, bottle=new)


def _copy(model: type[models.Model], row: models.Model, actor: Actor, **changed: Any) -> Any:
    values = {
        field.name: getattr(row, field.name)
        for field in row._meta.concrete_fields
        if field.name not in FRESH
    }
    new: Any = model(**{**values, **changed})
    new.save(by=actor)
    return new
