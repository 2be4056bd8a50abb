"""Writes of a direct test: with what it is measured, and what was read at each flow point."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from calc.errors import CalcError
from calc.vessel_form import SHAPES, vessel_at
from calc.vessels import height
from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.records import direct_flows, merge
from itm.records.direct_inputs import vessel_form
from itm.records.drafts import locked_draft
from itm.records.models import DirectRun, DirectSetup, FlowRun, ProportioningTest
from itm.records.weighing import require_density
from itm.registry.models import Instrument

WORST = 50.0  # % of the reading, own choice: a meter worse than that measures nothing
SIZES = ("diameter", "length", "width", "height", "level_step")
WEIGHTS = ("scale_step", "scale_error", "density", "density_error")
READS = ("concentrate", "second")


@transaction.atomic
def note_setup(
    *, actor: Actor, test: ProportioningTest, opened: Mapping[str, str] | None = None,
    **entered: Any,
) -> DirectSetup:  # fmt: skip
    """Note meters, how good they are, where the second one sits, or vessel and its scale, or what
    weighs and the density.

    Sizes, steps, weights and accuracies are Quantity. What the meters give as solution flow
    follows. Raises Forbidden; Refused not_draft, not_direct, instrument_not_yours,
    instrument_retired, no_flow_meter, accuracy, size, weight, density, vessel; Conflict.
    """
    row = _locked(actor, test)
    for name in READS:
        if (meter := entered.get(f"{name}_meter")) is not None:
            _require_meter(actor, meter, f"{name}_meter")
        share = entered.get(f"{name}_accuracy")
        if share is not None and not 0 < share.si <= WORST:
            raise Refused(
                "accuracy",
                f"{share.typed} is no accuracy of a meter: write by how much of its reading it may "
                f"be off, above 0 and at most {WORST:g} %.",
                f"{name}_accuracy",
            )
    for name in SIZES:
        if (size := entered.get(name)) is not None and size.si <= 0:
            raise Refused("size", "A length is above 0.", name)
    _require_weights(entered)
    runs = list(row.test.runs.select_related("direct", "flow_point"))
    before = {run.pk: direct_flows.solution_flow(row, run.direct, run) for run in runs}
    merge.put(row, entered, opened)
    _require_vessel(row)
    row.save(by=actor)
    for run in runs:
        _follow(actor, row, run, before[run.pk])
    return row


@transaction.atomic
def note_measured(
    *, actor: Actor, run: FlowRun, opened: Mapping[str, str] | None = None, **entered: Any
) -> DirectRun:
    """Note what was read at one flow point; flows, volumes, levels and durations are Quantity.

    What the meters give as solution flow is written to the run. Raises Forbidden; Refused
    not_draft, not_direct, not_positive, counts_down, level_rose, weight_rose, beyond_vessel,
    flow_noted; Conflict.
    """
    setup = _locked(actor, run.test)
    row = DirectRun.objects.get(run=run.pk)
    flow = FlowRun.objects.select_related("flow_point").get(pk=run.pk)
    for name, value in entered.items():
        if name.endswith(("_flow", "duration")) and value is not None and value.si <= 0:
            raise Refused("not_positive", "A flow and a duration are above 0.", name)
        if name.endswith(("_start", "_end")) and value is not None and value.si < 0:
            raise Refused("not_positive", "A totaliser shows 0 or more.", name)
        if name.startswith("mass_") and value is not None and value.si < 0:
            raise Refused("not_positive", "A scale shows 0 or more.", name)
    before = direct_flows.solution_flow(setup, row, flow)
    merge.put(row, entered, opened)
    _require_order(row, setup)
    row.save(by=actor)
    flow.direct = row
    _follow(actor, setup, flow, before)
    return row


def setup_of(test: ProportioningTest) -> DirectSetup:
    """Of a direct test. Raises Refused not_direct."""
    if not test.is_direct:
        raise Refused(
            "not_direct",
            "This test is read on a bench; what a direct method measures has a test of its own.",
        )
    setup = test.direct
    setup.test = test
    return setup


def _locked(actor: Actor, test: ProportioningTest) -> DirectSetup:
    draft = locked_draft(actor, test)
    setup_of(draft)
    row = DirectSetup.objects.select_related("concentrate_meter", "second_meter").get(test=draft)
    row.test = draft
    return row


def _require_meter(actor: Actor, meter: Instrument, place: str) -> None:
    if meter.organisation_id != actor.organisation_id:
        raise Refused("instrument_not_yours", "Take an instrument of your own list.", place)
    if meter.retired_on is not None:
        raise Refused("instrument_retired", f"{meter} is retired.", place)
    if meter.reads_bottles:
        raise Refused("no_flow_meter", f"{meter} reads bottles and no flow.", place)


def _require_weights(entered: Mapping[str, Any]) -> None:
    for name in WEIGHTS:
        if (value := entered.get(name)) is not None and value.si <= 0:
            raise Refused("weight", "A weight and a density are above 0.", name)
    require_density({"density": entered.get("density")})


def _require_vessel(setup: DirectSetup) -> None:
    form = vessel_form(setup)
    if form is None:
        return
    try:
        most = height(vessel_at(form, "$"))
    except CalcError as refusal:
        place = refusal.where.removeprefix("$.")
        raise Refused(
            "vessel", refusal.message, place if place in SHAPES[setup.shape] else "shape"
        ) from None
    highest = max(
        (run.level_before or 0 for run in DirectRun.objects.filter(run__test=setup.test_id)),
        default=0,
    )
    if highest > most:
        raise Refused(
            "vessel",
            f"A level of {highest:g} m was read and this vessel is {most:.3g} m high; put the "
            "sizes or the level right.",
            "shape",
        )


def _require_order(row: DirectRun, setup: DirectSetup) -> None:
    for name in READS:
        start, end = getattr(row, f"{name}_start"), getattr(row, f"{name}_end")
        if start is not None and end is not None and end <= start:
            raise Refused(
                "counts_down",
                "A totaliser shows more after the run than before it; a flow as shown by the "
                "display is another kind of reading.",
                f"{name}_end",
            )
    before, after = row.level_before, row.level_after
    if before is not None and after is not None and after >= before:
        raise Refused(
            "level_rose", "The level after the run lies below that before it.", "level_after"
        )
    heavy, light = row.mass_before, row.mass_after
    if heavy is not None and light is not None and light >= heavy:
        raise Refused(
            "weight_rose", "The scale shows less after the run than before it.", "mass_after"
        )
    form = vessel_form(setup)
    most = height(vessel_at(form, "$")) if form else None
    for name in ("level_before", "level_after"):
        value = getattr(row, name)
        if value is not None and (value < 0 or (most is not None and value > most)):
            inside = f"from 0 to {most:.3g} m" if most is not None else "0 or more"
            raise Refused(
                "beyond_vessel",
                f"A level is counted from the lowest point inside: {inside} in this vessel.",
                name,
            )


def _follow(actor: Actor, setup: DirectSetup, flow: FlowRun, before: Any) -> None:
    """The solution flow of the run is what its meters give, so that nobody works it out; what was
    noted at the discharge stays."""
    now = direct_flows.solution_flow(setup, flow.direct, flow)
    if now is not None:
        if flow.solution_flow_typed not in ("", now.typed, before.typed if before else ""):
            raise Refused(
                "flow_noted",
                f"{flow.solution_flow_typed} is noted as solution flow at the discharge: say that "
                "it counts, or empty it there before a meter is read in its place.",
                "second_read",
            )
        flow.solution_flow, flow.solution_flow_typed = now.si, now.typed
        flow.flow_source = flow.direct.second_source or FlowRun.FlowSource.METER
    elif before is not None and flow.solution_flow_typed == before.typed:
        flow.solution_flow, flow.solution_flow_typed, flow.flow_source = None, "", ""
    else:
        return
    flow.save(by=actor)


def require_flow_of_meters(flow: FlowRun, before: str) -> None:
    """Refused flow_of_meters, where somebody writes another solution flow than the meters give."""
    run = DirectRun.objects.filter(run=flow.pk).first()
    if run is None or run.second_read == DirectRun.SecondRead.DISCHARGE:
        return
    if flow.solution_flow_typed != before or flow.outlets:
        raise Refused(
            "flow_of_meters",
            f"The meters of this flow point give {before or 'the solution flow'}: change what they "
            "read, or say there that the flow was noted at the discharge.",
            "solution_flow",
        )
