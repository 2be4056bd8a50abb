"""Discharge: what was measured at each flow point, foam seen, samples caught, then the stop."""

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from calc.units import FLOW
from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.core.quantities import Quantity, apart
from itm.records import merge, outlets
from itm.records.drafts import locked_draft, new_key, on_bench, require_started
from itm.records.hands import whose
from itm.records.labels import labels_from, stem_of
from itm.records.measuring import require_flow_of_meters
from itm.records.models import Bench, Bottle, FlowRun, FlushStep
from itm.records.plausible import IMPOSSIBLE, require_possible


@transaction.atomic
def note_run(
    *, actor: Actor, run: FlowRun, opened: Mapping[str, str] | None = None, **entered: Any
) -> FlowRun:
    """Note inlet_pressure, solution_flow, level_before, level_after (Quantity), flow_source, or
    outlets (as `outlets.listed` gives them), whose flows then make the solution flow.

    `opened` holds what the form showed for each field; outlets take the place of a flow, so that
    counts as none where only they are told. Raises Forbidden; Refused not_draft, flow_not_positive,
    negative_pressure, impossible, source_missing, flow_of_outlets, flow_of_meters and those of
    `outlets.listed`; Conflict.
    """
    row = _locked_run(actor, run)
    before = row.solution_flow_typed, row.flow_source
    if "outlets" in entered:
        entered["outlets"] = outlets.listed(entered["outlets"])
    flow, pressure = entered.get("solution_flow"), entered.get("inlet_pressure")
    if flow is not None and flow.si <= 0:
        raise Refused("flow_not_positive", "A flow is above 0.", "solution_flow")
    if pressure is not None and pressure.si < 0:
        raise Refused("negative_pressure", "A gauge pressure is not negative.", "inlet_pressure")
    for name in IMPOSSIBLE:
        if (quantity := entered.get(name)) is not None:
            require_possible(name, quantity.si)
    for name in ("level_before", "level_after"):
        if (level := entered.get(name)) is not None and level.si < 0:
            raise Refused("negative_level", "A content of the tank is not negative.", name)
    if entered.get("outlets") and not row.outlets and opened is not None:
        entered, opened = _in_place_of_a_flow(row, entered, opened)
    merge.put(row, entered, opened)
    require_flow_of_meters(row, before[0])
    if row.outlets:
        _flow_of_outlets(row, *before)
    if row.solution_flow is not None and not row.flow_source:
        raise Refused(
            "source_missing",
            "Say where the flow comes from: a meter, a pitot, or only the nameplate.",
            "flow_source",
        )
    row.save(by=actor)
    return row


def _in_place_of_a_flow(
    row: FlowRun, entered: Mapping[str, Any], opened: Mapping[str, str]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Their sum is written as the flow, so one that somebody noted meanwhile is compared with it.
    What a person writes as flow beside them is left to `_flow_of_outlets`."""
    made = {"solution_flow": _sum(row, entered["outlets"]), "flow_source": FlowRun.FlowSource.PITOT}
    seen = {**dict.fromkeys(made, ""), **opened}
    untouched = {
        name: value
        for name, value in made.items()
        if name not in entered or merge.text(entered[name]) == seen[name]
    }
    return {**entered, **untouched}, seen


def _sum(row: FlowRun, texts: list[str]) -> Quantity:
    return outlets.flow(texts, unit=apart(row.flow_point.flow_typed, FLOW)[1])


def _flow_of_outlets(row: FlowRun, flow_before: str, source_before: str) -> None:
    """The sum stands in place of a flow that somebody would have to add up."""
    found = _sum(row, row.outlets)
    if row.solution_flow_typed not in ("", flow_before, found.typed):
        raise Refused(
            "flow_of_outlets",
            f"The outlets below give {found.typed}: empty them to write the flow of a meter.",
            "solution_flow",
        )
    if row.flow_source not in ("", source_before, FlowRun.FlowSource.PITOT):
        raise Refused(
            "flow_of_outlets",
            "Outlets are read by pitot: empty them to take the flow from elsewhere.",
            "flow_source",
        )
    row.solution_flow, row.solution_flow_typed = found.si, found.typed
    row.flow_source = FlowRun.FlowSource.PITOT


@transaction.atomic
def foam_seen(*, actor: Actor, run: FlowRun, at: datetime) -> FlowRun:
    """Foam, or solution, came out: the sampling clock of this flow point starts.

    Raises Forbidden; Refused not_draft, not_started; Conflict when it is already noted.
    """
    row = _locked_run(actor, run)
    require_started(row.test.visit)
    if row.foam_seen_at is not None:
        raise Conflict("Foam was already noted at this flow point; take that back first.")
    row.foam_seen_at = at
    row.save(by=actor)
    return row


@transaction.atomic
def take_back_foam(*, actor: Actor, run: FlowRun, seen: Mapping[str, str] | None = None) -> FlowRun:
    """The button was pressed too early. May run twice.

    `seen` is the moment that the person saw. Raises Forbidden; Refused not_draft; Crossed.
    """
    row = _locked_run(actor, run)
    merge.require_seen(row, seen, "foam_seen_at")
    row.foam_seen_at = None
    row.save(by=actor, verb="taken back")
    return row


@transaction.atomic
def add_sample(
    *, actor: Actor, run: FlowRun, at: datetime, label: str = "", seen: int | None = None,
    key: uuid.UUID | None = None,
) -> Bottle:  # fmt: skip
    """A bottle was filled at this flow point: it stands on the bench from now on.

    `seen` is the number of samples that the page showed; another number now means that somebody
    stamped in between, or that the button was pressed twice. Raises Forbidden; Refused not_draft,
    not_started, no_bench, label_used, key_used; Conflict.
    """
    row = _locked_run(actor, run)
    require_started(row.test.visit)
    bench = Bench.objects.select_for_update().get(pk=on_bench(row.test).pk)
    here = list(row.bottles.in_use().order_by("taken_at", "pk"))
    if seen is not None and seen != len(here):
        raise Conflict(
            f"This page showed {seen} samples, there are {len(here)} now: another one was stamped "
            "meanwhile. Nothing was added; press again if this is one more bottle."
        )
    used = set(bench.bottles.values_list("label", flat=True))
    label = label.strip()
    if label in used:
        raise Refused("label_used", f"Another bottle of this bench is labelled {label}.", "label")
    last = bench.bottles.filter(role=Bottle.Role.SAMPLE).aggregate(Max("position"))
    return Bottle.objects.create(
        by=actor, key=new_key(Bottle, key), bench=bench, run=row, role=Bottle.Role.SAMPLE,
        taken_at=at, label=label or next(labels_from(_stem(row, bench), used)),
        position=(last["position__max"] or 0) + 1,
    )  # fmt: skip


@transaction.atomic
def withdraw_sample(
    *, actor: Actor, bottle: Bottle, reason: str, seen: Mapping[str, str] | None = None
) -> Bottle:
    """A sample stamped by mistake leaves the bench; its row and its label stay. May run twice.

    `seen` holds another reason that the person saw and replaces. Raises Forbidden; Crossed; Refused
    not_draft, has_readings, reason_missing.
    """
    row = _locked_sample(actor, bottle)
    if row.readings.exists():
        raise Refused(
            "has_readings",
            f"{row.label} has readings. Set those aside with a reason; the bottle stays.",
        )
    if not reason.strip():
        raise Refused("reason_missing", "Say why the sample is withdrawn.", "reason")
    merge.say(row, "withdrawn_reason", reason.strip(), seen)
    row.save(by=actor, verb="withdrawn")
    return row


@transaction.atomic
def bring_back_sample(
    *, actor: Actor, bottle: Bottle, seen: Mapping[str, str] | None = None
) -> Bottle:
    """Undo of a withdrawal, of the reason that was `seen`. May run twice.

    Raises Forbidden; Refused not_draft; Crossed.
    """
    row = _locked_sample(actor, bottle)
    merge.require_seen(row, seen, "withdrawn_reason")
    row.withdrawn_reason = ""
    row.save(by=actor, verb="brought back")
    return row


@transaction.atomic
def flush_done(*, actor: Actor, step: FlushStep, at: datetime, by: str = "") -> FlushStep:
    """Tick the next step of stopping and flushing; none before the one above it. `by` is who did
    it where a paper names another than who types it in.

    Raises Forbidden; Refused not_draft, not_started, out_of_order, by_long; Conflict when already
    ticked.
    """
    row = _locked_step(actor, step)
    require_started(row.test.visit)
    if row.done_at is not None:
        raise Conflict(f"{row.done_by} has already ticked “{row.text}”.")
    before = row.test.flush_steps.filter(position__lt=row.position, done_at=None).first()
    if before is not None:
        raise Refused("out_of_order", f"First: {before.text}.", "flush")
    row.done_at, row.done_by = at, whose(actor, by)
    row.save(by=actor)
    return row


@transaction.atomic
def flush_undone(
    *, actor: Actor, step: FlushStep, seen: Mapping[str, str] | None = None
) -> FlushStep:
    """Take back the last step that was ticked, at the moment that was `seen`. May run twice.

    Raises Forbidden; Refused not_draft, out_of_order; Crossed.
    """
    row = _locked_step(actor, step)
    merge.require_seen(row, seen, "done_at")
    after = row.test.flush_steps.filter(position__gt=row.position, done_at__isnull=False)
    if after.exists():
        raise Refused("out_of_order", "Only the last ticked step can be taken back.", "flush")
    row.done_at, row.done_by = None, ""
    row.save(by=actor, verb="taken back")
    return row


def _stem(run: FlowRun, bench: Bench) -> str:
    opened = bench.tests.order_by("pk").values_list("proportioner", flat=True)[0]
    device = run.test.proportioner
    tag = "" if device.pk == opened else device.tag
    return stem_of(run.flow_point.name, phase=run.test.phase, tag=tag)


def _locked_run(actor: Actor, run: FlowRun) -> FlowRun:
    test = locked_draft(actor, run.test)
    row = FlowRun.objects.select_related("flow_point").get(pk=run.pk)
    row.test = test
    return row


def _locked_sample(actor: Actor, bottle: Bottle) -> Bottle:
    if bottle.run is None:
        raise Refused("no_sample", f"{bottle.label} is no discharge sample.")
    locked_draft(actor, bottle.run.test)
    return Bottle.objects.get(pk=bottle.pk)


def _locked_step(actor: Actor, step: FlushStep) -> FlushStep:
    test = locked_draft(actor, step.test)
    row = FlushStep.objects.get(pk=step.pk)
    row.test = test
    return row
