"""Correct a sealed record by a new one that names it, says why, and starts as its copy."""

import uuid
from datetime import datetime
from typing import Any

from django.db import models, transaction

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.records import states
from itm.records.loading import whole, whole_check
from itm.records.models import (
    Bench,
    Bottle,
    ConcentrateCheck,
    ConcentrateSample,
    DirectRun,
    DirectSetup,
    FlowRun,
    FlushStep,
    LaboratoryReport,
    ProportioningTest,
    Reading,
    Record,
    SampleValue,
)

FRESH = {"id", "key", "sealed_at"}


@transaction.atomic(durable=True)
def amend(*, actor: Actor, key: uuid.UUID, reason: str, at: datetime) -> Record:
    """A new draft with copies of everything that was read; the sealed record stays as it is.

    Raises NotFound, Forbidden; Conflict when it is being corrected already; Refused
    reason_missing, wrong_state.
    """
    record = states.locked(actor, key)
    states.require(actor, "amend", record)
    if record.state != record.State.SEALED:
        raise Refused("wrong_state", "Only a sealed record is amended; this one can still change.")
    if not reason.strip():
        raise Refused("reason_missing", "Say what the amendment corrects and why.", "reason")
    amendments: Any = record.amendments
    if amendments.exclude(state=record.State.ABANDONED).exists():
        raise Conflict("This record is being corrected already, or was: go on from there.")
    anew = {
        **record.NOT_HANDED_IN, "state": record.State.DRAFT, "amends": record,
        "amendment_reason": reason.strip(),
    }  # fmt: skip
    copied = _test if isinstance(record, ProportioningTest) else _check
    draft = copied(record.pk, actor, anew)
    states.keep(actor=actor, record=draft, verb="amend", at=at, reason=reason.strip())
    return draft


def _test(pk: int, actor: Actor, anew: dict[str, Any]) -> Record:
    loaded = whole(pk)
    bench = None if loaded.bench is None else _copy(Bench, loaded.bench, actor)
    draft: ProportioningTest = _copy(ProportioningTest, loaded, actor, bench=bench, **anew)
    for step in loaded.flush_steps.all():
        _copy(FlushStep, step, actor, test=draft)
    if loaded.bench is None:
        _copy(DirectSetup, loaded.direct, actor, test=draft)
    else:
        for bottle in loaded.bench.bottles.all():
            _copy_bottle(bottle, actor, bench=bench, run=None)
    for run in loaded.runs.all():
        new_run = _copy(FlowRun, run, actor, test=draft)
        if loaded.is_direct:
            _copy(DirectRun, run.direct, actor, run=new_run)
        for bottle in run.bottles.all():
            _copy_bottle(bottle, actor, bench=bench, run=new_run)
    return draft


def _check(pk: int, actor: Actor, anew: dict[str, Any]) -> Record:
    """The papers of the laboratory are the same files, and the bottles the same bottles."""
    loaded = whole_check(pk)
    draft: ConcentrateCheck = _copy(ConcentrateCheck, loaded, actor, **anew)
    papers: dict[int | None, LaboratoryReport | None] = {None: None}
    for paper in loaded.laboratory_reports.all():
        papers[paper.pk] = _copy(LaboratoryReport, paper, actor, concentrate_check=draft)
    for sample in loaded.samples.all():
        new = _copy(
            ConcentrateSample, sample, actor, concentrate_check=draft, copied=True,
            report=papers[sample.report_id],
        )  # fmt: skip
        for value in sample.values.all():
            _copy(SampleValue, value, actor, sample=new)
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
