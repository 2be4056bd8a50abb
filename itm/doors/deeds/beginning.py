"""A test begun where its proportioner stands, with no signal, by the same action as at home.

Its key follows from the visit, the proportioner and what it is read with, so two phones that begin
the same test mean one. Where they said different things of it, the second is asked.
"""

import uuid
from decimal import Decimal
from typing import Any

from itm.actions.prepare_test import prepare_test
from itm.core.clock import date_at
from itm.core.errors import NotFound, Refused
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled
from itm.records import bench as benches
from itm.records import preparing, queries
from itm.records.drafts import locked_visit, on_bench, require_begin
from itm.records.forms import BENCH, TestForm
from itm.records.merge import Crossed, changed, shown, text
from itm.records.models import ProportioningTest, Visit
from itm.records.prepare_refusals import refuse_unfit_device
from itm.records.prepared_keys import test_key, with_bench, with_meter
from itm.records.rule import frozen_rule
from itm.registry.models import Instrument, Proportioner

OF_TEST = ("purpose", "adjusted", "correct_temperatures", "notes")
OF_BENCH = ("water_source", "glassware", "batch_volume_ml")
USUAL_BATCH = "200"  # mL


def begin_test(call: Call) -> Done:
    visit = locked_visit(call.actor, call.row)
    require_begin(call.actor, visit, call.true_at)
    put = dict(call.entry.put)
    device = _device(visit, str(put.pop("proportioner", "")))
    refuse_unfit_device(visit, device)
    _refuse_retired_meter(call, str(put.get("instrument", "")))
    put.setdefault("phase", "as_found")
    put.setdefault("bench", TestForm.NEW)
    put.setdefault("batch_volume_ml", USUAL_BATCH)
    put.setdefault("flow_points", [str(p.key) for p in queries.flow_points_of(device)])
    form = filled(
        TestForm, put, actor=call.actor, visit=visit, proportioner=device,
        rule=frozen_rule(device, date_at(visit.site.time_zone, call.at)),
        previous=queries.previous_results(call.actor, device), method=BENCH,
    )  # fmt: skip
    cleaned(form)
    given = form.prepared()
    key = test_key(
        visit, device, phase=given["phase"], method=BENCH, read_with=_read_with(given["bench"])
    )
    there = visit.tests.filter(key=key).first()
    if there is None:
        _refuse_another(visit, device, given)
        there = prepare_test(
            actor=call.actor, visit=visit, proportioner=device, at=call.at, key=key,
            stamped=call.true_at, **given,
        )  # fmt: skip
    else:
        _merge(call, there, given)
    return Done(visit, {"test": str(there.key), "bench": str(on_bench(there).key)})


def _device(visit: Visit, named: str) -> Proportioner:
    """At the site of a visit that is held by right: also one that is retired by now, so that it is
    said, and where the engagement is over by now. Raises NotFound."""
    rows = Proportioner.objects.filter(system__site=visit.site_id)
    rows = rows.select_related("system__site", "tank")
    row = rows.filter(key=key).first() if (key := _uuid(named)) else None
    if row is None:
        raise NotFound("proportioner", named)
    return row


def _refuse_retired_meter(call: Call, named: str) -> None:
    """The form of the page would only say that it is no choice."""
    rows = Instrument.objects.visible_to(call.actor).exclude(retired_on=None)
    if (key := _uuid(named)) and (meter := rows.filter(key=key).first()):
        raise Refused(
            "instrument_retired",
            f"{meter} is retired. Where the bottles were really read with it, take it back into "
            "use on its page, then send this again.",
            "instrument",
        )


def _uuid(named: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(named)
    except ValueError:
        return None


def _read_with(bench: Any) -> str:
    if isinstance(bench, preparing.NewBench):
        return with_meter(bench.instrument.key, bench.lot.key if bench.lot else None)
    return with_bench(bench.key)


def _refuse_another(visit: Visit, device: Proportioner, given: dict[str, Any]) -> None:
    """The same test read with something else: readings of two meters have no line in common, so
    neither is put into the other."""
    same = visit.tests.filter(
        proportioner=device, phase=given["phase"], method=BENCH, amends=None
    ).exclude(state=ProportioningTest.State.ABANDONED)
    if other := same.select_related("bench__instrument", "bench__lot").first():
        bench = on_bench(other)
        raise Refused(
            "one_test_a_phase",
            f"This visit already has the test “{other.get_phase_display()}” of {device}, read with "
            f"{bench.instrument}, standards from {bench.lot or 'a lot that is not known'}. What "
            "was read with something else cannot go into it. Everything entered here stays on this "
            "device: enter it in that test, or give that test up on its page and send this again.",
        )


def _merge(call: Call, test: ProportioningTest, given: dict[str, Any]) -> None:
    """The flow points of both; a text that differs from what stands is asked about, until the
    person has seen that one (`opened`). Raises Crossed; and what the services refuse."""
    actor, opened, bench = call.actor, call.entry.opened, on_bench(test)
    of_test = _said(call, given, OF_TEST)
    new = given["bench"]
    of_bench = _said(call, vars(new), OF_BENCH) if isinstance(new, preparing.NewBench) else {}
    crossed: dict[str, str] = {}
    now: dict[str, str] = {}
    for row, said in ((test, of_test), (bench, of_bench)):
        try:
            changed(row, said, {name: opened.get(name, "") for name in said})
        except Crossed as found:
            crossed |= found.places
            now |= found.now
    if crossed:
        raise Crossed(crossed, now)
    run = set(test.runs.values_list("flow_point_id", flat=True))
    for point in given["flow_points"]:
        if point.pk not in run:
            preparing.add_run(actor=actor, test=test, flow_point=point)
    if other := {name: v for name, v in of_test.items() if shown(test, name) != text(v)}:
        preparing.change_test(actor=actor, test=test, **other)
    if other := {name: v for name, v in of_bench.items() if shown(bench, name) != text(v)}:
        benches.change_bench(actor=actor, bench=bench, **other)


def _said(call: Call, given: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    """What the person said and not what is usual; a volume with the digits that are kept."""
    said = {name: given[name] for name in names if call.entry.text(name).strip()}
    if "batch_volume_ml" in said:
        said["batch_volume_ml"] = said["batch_volume_ml"].quantize(Decimal("0.1"))
    return said
