"""Flow points, the sampling clock, and the stop."""

from datetime import datetime

from itm.core.errors import Conflict, Refused
from itm.doors.deeds.visits import standing
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled, only_put, require_known, seen_as
from itm.records import discharge as services
from itm.records.forms import RunForm, WithdrawForm
from itm.records.merge import Crossed
from itm.records.models import FlowRun, FlushStep

LONGEST_LABEL = 40


def note_run(call: Call) -> Done:
    form = only_put(filled(RunForm, call.entry.put, row=call.row), call.entry.put)
    row = services.note_run(
        actor=call.actor, run=call.row, opened=call.entry.opened, **cleaned(form)
    )
    return Done(call.row.test.visit, standing(row, call.entry.put))


def foam_seen(call: Call) -> Done:
    """Two people may press for the same foam: then one of them decides which moment stands, by
    sending the entry again with the moment that stands in `opened`."""
    require_known(call.entry.put, {})
    visit = call.row.test.visit
    try:
        run = services.foam_seen(actor=call.actor, run=call.row, at=call.at)
    except Conflict as conflict:
        stands = FlowRun.objects.get(pk=call.row.pk).foam_seen_at
        if stands == call.at:
            return Done(visit, {"foam_seen_at": _iso(stands)}, "stood_already", conflict.sentence)
        if call.entry.opened.get("foam_seen_at") != _iso(stands):
            sentence = (
                f"Foam was already noted here at {_iso(stands)}; you noted it at "
                f"{call.at.isoformat()}. Nothing was overwritten: say which moment is right."
            )
            now = {"foam_seen_at": _iso(stands)}
            raise Crossed({"foam_seen_at": sentence}, now) from conflict
        services.take_back_foam(actor=call.actor, run=call.row)
        run = services.foam_seen(actor=call.actor, run=call.row, at=call.at)
    return Done(visit, {"foam_seen_at": _iso(run.foam_seen_at)})


def take_back_foam(call: Call) -> Done:
    require_known(call.entry.put, {})
    services.take_back_foam(actor=call.actor, run=call.row, seen=call.entry.opened)
    return Done(call.row.test.visit, {"foam_seen_at": ""})


def add_sample(call: Call) -> Done:
    """`label` as it stands on the bottle; without one the server gives the next of its kind."""
    require_known(call.entry.put, {"label": ""})
    label = call.entry.text("label").strip()
    if len(label) > LONGEST_LABEL:
        raise Refused("too_long", f"A label has at most {LONGEST_LABEL} characters.", "label")
    bottle = services.add_sample(
        actor=call.actor, run=call.row, at=call.at, label=label, key=call.entry.key
    )
    return Done(call.row.test.visit, {"bottle": str(bottle.key), "label": bottle.label})


def withdraw_sample(call: Call) -> Done:
    given = cleaned(filled(WithdrawForm, call.entry.put))
    with seen_as(call, "reason", "withdrawn_reason") as seen:
        bottle = services.withdraw_sample(actor=call.actor, bottle=call.row, seen=seen, **given)
    return Done(call.row.bench.visit, {"withdrawn_reason": bottle.withdrawn_reason})


def bring_back_sample(call: Call) -> Done:
    require_known(call.entry.put, {})
    services.bring_back_sample(actor=call.actor, bottle=call.row, seen=call.entry.opened)
    return Done(call.row.bench.visit, {"withdrawn_reason": ""})


def flush_done(call: Call) -> Done:
    require_known(call.entry.put, {"by": ""})
    by = call.entry.text("by")
    try:
        step = services.flush_done(actor=call.actor, step=call.row, at=call.at, by=by)
    except Conflict as conflict:
        there = FlushStep.objects.get(pk=call.row.pk)
        return Done(there.test.visit, _ticked(there), "stood_already", conflict.sentence)
    return Done(call.row.test.visit, _ticked(step))


def flush_undone(call: Call) -> Done:
    require_known(call.entry.put, {})
    step = services.flush_undone(actor=call.actor, step=call.row, seen=call.entry.opened)
    return Done(call.row.test.visit, _ticked(step))


def _ticked(step: FlushStep) -> dict[str, str]:
    return {"done_at": _iso(step.done_at), "done_by": step.done_by}


def _iso(at: datetime | None) -> str:
    """As the day tells it to the device."""
    return "" if at is None else at.isoformat()
