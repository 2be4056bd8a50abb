"""The day itself: plan, prepare, tell, start, hand in."""

import uuid
from typing import Any

from itm.actions.hand_in import hand_in as hand_in_test
from itm.actions.prepare_test import prepare_test as prepare
from itm.actions.start_test_day import start_test_day as start
from itm.actions.take_back_start import take_back_start as take_back
from itm.core.clock import date_at
from itm.core.errors import NotFound, Refused
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled, only_put, require_known
from itm.records import preparing, queries, services
from itm.records.drafts import require_crew
from itm.records.forms import (
    BENCH,
    NoticeForm,
    StartForm,
    TestEditForm,
    TestForm,
    VisitEditForm,
    VisitForm,
)
from itm.records.merge import shown
from itm.records.rule import frozen_rule
from itm.registry.models import Proportioner


def plan_visit(call: Call) -> Done:
    form = filled(VisitForm, call.entry.put, actor=call.actor)
    made = services.plan_visit(actor=call.actor, key=call.entry.key, **cleaned(form))
    return Done(made, {"visit": str(made.key)})


def note_visit(call: Call) -> Done:
    form = only_put(filled(VisitEditForm, call.entry.put, row=call.row), call.entry.put)
    row = services.change_visit(
        actor=call.actor, visit=call.row, opened=call.entry.opened, **cleaned(form)
    )
    return Done(row, standing(row, call.entry.put))


def add_notice(call: Call) -> Done:
    put = {"told_at": call.at.isoformat(), **call.entry.put}
    by = str(put.pop("by", ""))
    form = filled(NoticeForm, put, visit=call.row, now=call.latest)
    made = services.add_notice(
        actor=call.actor, visit=call.row, key=call.entry.key, by=by, **cleaned(form)
    )
    return Done(call.row, {"notice": str(made.key), "told_by": made.told_by})


def start_test_day(call: Call) -> Done:
    """Two people may start the same day: then one of them decides which start stands, by sending
    the entry again with what stands in `opened`."""
    require_crew(call.actor, call.row)
    given = cleaned(filled(StartForm, call.entry.put, visit=call.row, now=call.latest))
    at = given.pop("started_at") or call.at
    visit = start(
        actor=call.actor, key=call.row.key, at=at, seen=call.entry.opened, now=call.now, **given
    )
    return Done(visit, _started(visit))


def take_back_start(call: Call) -> Done:
    require_known(call.entry.put, {})
    visit = take_back(actor=call.actor, visit=call.row, at=call.at, seen=call.entry.opened)
    return Done(visit, _started(visit))


def _started(visit: Any) -> dict[str, str]:
    at = visit.started_at
    return {"started_at": at.isoformat() if at else "", "started_by": visit.started_by}


def prepare_test(call: Call) -> Done:
    """The test gets the key of the entry, and a new bench one that follows from that."""
    require_crew(call.actor, call.row)
    put = dict(call.entry.put)
    device = proportioner_of(call, str(put.pop("proportioner", "")))
    put.setdefault("phase", "as_found")
    method = put.setdefault("method", BENCH)
    if method == BENCH:
        put.setdefault("bench", TestForm.NEW)
        put.setdefault("batch_volume_ml", "200")
    put.setdefault("flow_points", [str(p.key) for p in queries.flow_points_of(device)])
    form = filled(
        TestForm, put, actor=call.actor, visit=call.row, proportioner=device,
        rule=frozen_rule(device, date_at(call.row.site.time_zone, call.at)),
        previous=queries.previous_results(call.actor, device), method=str(method),
    )  # fmt: skip
    cleaned(form)
    test = prepare(
        actor=call.actor, visit=call.row, proportioner=device, at=call.at, key=call.entry.key,
        **form.prepared(),
    )  # fmt: skip
    bench = {"bench": str(test.bench.key)} if test.bench else {}
    return Done(call.row, {"test": str(test.key), **bench})


def proportioner_of(call: Call, key: str) -> Proportioner:
    devices = queries.proportioners_at(call.actor, call.row.site)
    device = next((d for d in devices if str(d.key) == key.strip().lower()), None)
    if device is None:
        raise NotFound("proportioner", key)
    return device


def note_test(call: Call) -> Done:
    form = filled(TestEditForm, call.entry.put, row=call.row)
    if call.row.phase != "as_left" and "adjusted" in call.entry.put:
        raise Refused(
            "adjusted_as_found", "Only an as-left test names parts that were adjusted.", "adjusted"
        )
    row = preparing.change_test(
        actor=call.actor, test=call.row, opened=dict(call.entry.opened),
        **cleaned(only_put(form, call.entry.put)),
    )  # fmt: skip
    return Done(call.row.visit, standing(row, call.entry.put))


def add_run(call: Call) -> Done:
    require_known(call.entry.put, {"flow_point": ""})
    try:
        key = uuid.UUID(call.entry.text("flow_point"))
    except ValueError as error:
        raise Refused("no_flow_point", "Name the flow point by its key.", "flow_point") from error
    point = queries.flow_point(call.row.proportioner, key)
    run = preparing.add_run(actor=call.actor, test=call.row, flow_point=point)
    return Done(call.row.visit, {"run": str(run.key)})


def hand_in(call: Call) -> Done:
    """Stamped by the server: a record is handed in when it has arrived."""
    require_known(call.entry.put, {})
    test: Any = hand_in_test(actor=call.actor, key=call.row.key, at=call.now, once=call.entry.key)
    return Done(
        test.visit,
        {"state": test.state, "limits": test.limits, "certainty": test.certainty},
    )


def standing(row: Any, names: Any) -> dict[str, str]:
    """What stands in these fields now, as text."""
    return {name: shown(row, name) for name in names}
