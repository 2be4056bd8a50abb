"""Bottles, volumes as made, and readings."""

from typing import Any

from itm.core.errors import Conflict, Refused
from itm.doors.deeds.visits import standing
from itm.doors.entry import Call, Done
from itm.doors.filling import Wrong, cleaned, filled, only_put, require_known, seen_as
from itm.intake.take import Entry as ReadingEntry
from itm.intake.take import take_reading
from itm.records import bench as services
from itm.records import pouring
from itm.records.bench_forms import BenchForm, LabelledStandardForm, ReasonForm
from itm.records.models import Bottle, Reading
from itm.records.weighing import MASSES, UNIT, VOLUMES

MOST_TYPED = 40  # characters of a reading, as on the page
USUAL, NONE = "usual", "none"


def set_out_bench(call: Call) -> Done:
    require_known(call.entry.put, {"standards": ""})
    which = call.entry.text("standards") or USUAL
    if which not in (USUAL, NONE):
        raise Refused("invalid_choice", f"Write {USUAL} or {NONE}.", "standards")
    made = services.set_out(actor=call.actor, test=call.row, standards=which == USUAL)
    return Done(call.row.visit, {"bottles": [_bottle(bottle) for bottle in made]})


def add_system_water(call: Call) -> Done:
    require_known(call.entry.put, {})
    made = services.add_system_water(actor=call.actor, bench=call.row.bench)
    return Done(call.row.visit, _bottle(made))


def add_standard(call: Call) -> Done:
    given = cleaned(filled(LabelledStandardForm, call.entry.put))
    made = services.add_standard(
        actor=call.actor, bench=call.row.bench, key=call.entry.key, **given
    )
    return Done(call.row.visit, _bottle(made))


def set_volumes(call: Call) -> Done:
    (concentrate, water), opened = _both(call, VOLUMES)
    bottle = pouring.set_volumes(
        actor=call.actor, bottle=call.row, concentrate_ml_typed=concentrate, water_ml_typed=water,
        opened=opened,
    )  # fmt: skip
    return Done(call.row.bench.visit, standing(bottle, VOLUMES))


def set_masses(call: Call) -> Done:
    (concentrate, water), opened = _both(call, MASSES)
    bottle = pouring.set_masses(
        actor=call.actor, bottle=call.row, concentrate_g_typed=concentrate, water_g_typed=water,
        opened=opened,
    )  # fmt: skip
    return Done(call.row.bench.visit, standing(bottle, MASSES))


Pair = tuple[str, str]


def _both(call: Call, names: Pair) -> tuple[Pair, Pair | None]:
    """The two amounts of a standard are one thing: both are put, and both are opened."""
    require_known(call.entry.put, dict.fromkeys(names))
    if missing := next((name for name in names if name not in call.entry.put), ""):
        word = "volume" if names == VOLUMES else "mass"
        raise Refused(
            f"missing_{word}", f"Put both, as really measured, in {UNIT[names]}.", missing
        )
    concentrate, water = (call.entry.text(name).strip() for name in names)
    opened = call.entry.opened
    seen = (opened[names[0]], opened[names[1]]) if set(names) <= set(opened) else None
    return (concentrate, water), seen


def withdraw_standard(call: Call) -> Done:
    given = cleaned(filled(ReasonForm, call.entry.put))
    with seen_as(call, "reason", "withdrawn_reason") as seen:
        bottle = services.withdraw_standard(actor=call.actor, bottle=call.row, seen=seen, **given)
    return Done(call.row.bench.visit, {"withdrawn_reason": bottle.withdrawn_reason})


def note_bench(call: Call) -> Done:
    bench = call.row.bench
    form = only_put(filled(BenchForm, call.entry.put, row=bench), call.entry.put)
    row = services.change_bench(
        actor=call.actor, bench=bench, opened=call.entry.opened, **cleaned(form)
    )
    return Done(call.row.visit, standing(row, call.entry.put))


def add_reading(call: Call) -> Done:
    """What the display showed, once; judged as the page judges it."""
    require_known(call.entry.put, {"value": "", "temperature": ""})
    typed = ReadingEntry(
        call.entry.key,
        call.row,
        call.entry.text("value")[:MOST_TYPED],
        call.entry.text("temperature")[:MOST_TYPED],
    )
    taken = take_reading(
        actor=call.actor, display=call.row.bench.instrument, entry=typed, at=call.at
    )
    if taken.problems:
        _refuse(typed, taken.problems)
    [reading] = taken.saved
    return Done(call.row.bench.visit, {"reading": str(reading.key), "value": reading.value_typed})


def _refuse(typed: ReadingEntry, problems: list[Any]) -> None:
    places = {typed.place: "value", typed.temperature_place: "temperature"}
    named = [type(p)(places.get(p.place, p.place), p.code, p.sentence) for p in problems]
    if named[0].code == Conflict.code:
        raise Conflict(named[0].sentence)
    raise Wrong(named)


def set_aside(call: Call) -> Done:
    given = cleaned(filled(ReasonForm, call.entry.put))
    with seen_as(call, "reason", "set_aside_reason") as seen:
        reading = services.set_aside(
            actor=call.actor, reading=call.row, at=call.at, seen=seen, **given
        )
    return Done(call.row.bottle.bench.visit, _aside(reading))


def bring_back_reading(call: Call) -> Done:
    require_known(call.entry.put, {})
    reading = services.take_back_aside(actor=call.actor, reading=call.row, seen=call.entry.opened)
    return Done(call.row.bottle.bench.visit, _aside(reading))


def _aside(reading: Reading) -> dict[str, str]:
    return {
        "set_aside_reason": reading.set_aside_reason,
        "set_aside_by": reading.set_aside_by,
    }


def _bottle(bottle: Bottle) -> dict[str, str]:
    return {"bottle": str(bottle.key), "label": bottle.label, "role": bottle.role}
