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
from itm.records.prepared_keys import begun_key, given_up, test_key, with_bench, with_meter
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
    named = str(put.pop("test", ""))
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
    key = _key(visit, device, named, given)
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


def _key(visit: Visit, device: Proportioner, named: str, given: dict[str, Any]) -> uuid.UUID:
    """The key that the device worked out, because all that it entered hangs on that one: it may
    have counted fewer tests that were given up. Raises Refused test_given_up, test_key."""
    phase, read_with = given["phase"], _read_with(given["bench"])
    if not named:
        return test_key(visit, device, phase=phase, method=BENCH, read_with=read_with)
    before = given_up(visit.tests.all()).get((device.pk, phase, BENCH), 0)
    known = {
        begun_key(visit.key, device.key, phase, BENCH, read_with, before=number)
        for number in range(before + 1)
    }
    if (key := _uuid(named)) is None or key not in known:
        raise Refused(
            "test_key",
            "The device worked out another key for this test than this server knows. Nothing of it "
            "was taken, and everything entered for it stays on this device: save it as a file, "
            "then begin the test again from a fresh copy of the day.",
            "test",
        )
    taken = visit.tests.filter(key=key, state=ProportioningTest.State.ABANDONED).first()
    if taken is not None:
        raise Refused(
            "test_given_up",
            f"The same test, “{taken.get_phase_display()}” of {device} read with the same, was "
            "prepared on this visit meanwhile and given up. What is given up takes no readings, so "
            "nothing of this one was taken; everything entered for it stays on this device. Save "
            "it as a file or copy it on paper, take this one off, and begin the test again now "
            "that this copy of the day knows of the other.",
            "test",
        )
    return key


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
