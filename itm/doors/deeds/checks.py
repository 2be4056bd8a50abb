"""The concentrate of a tank: a check begun, its bottles, what was measured of them, its hand-in."""

from datetime import timedelta
from typing import Any

from itm.actions.hand_in import hand_in as hand_in_record
from itm.core.clock import date_at
from itm.core.errors import Conflict, Refused
from itm.core.quantities import apart
from itm.doors.deeds.visits import standing
from itm.doors.entry import Call, Done
from itm.doors.filling import Wrong, cleaned, filled, only_put, require_known, seen_as
from itm.intake.take_values import ValueEntry, take_values
from itm.records import checking, device_clocks, sampling
from itm.records.check_forms import (
    CheckEditForm,
    CheckForm,
    MeasuredForm,
    SampleEditForm,
    SampleForm,
    WhyForm,
)
from itm.records.models import SampleValue
from itm.registry.properties import PROPERTIES

OWN = SampleValue.Origin.OWN
VALUE = dict.fromkeys(("property", "value", "temperature", "origin", "method", "measured_on"), "")
MOST_TYPED = 40  # as the page takes


def begin_check(call: Call) -> Done:
    put = {
        "checked_on": date_at(call.row.site.time_zone, call.at).isoformat(),
        "u_refractive_index": f"{checking.U_INDEX:f}",
        "u_density": f"{checking.U_DENSITY:f}",
        **call.entry.put,
    }
    check = checking.begin_check(
        actor=call.actor,
        tank=call.row,
        at=call.at,
        stamped=call.true_at,
        **_under_its_key(CheckForm, put, call),
    )
    return Done(None, {"check": str(check.key), "state": check.state})


def _under_its_key(form_class: Any, put: dict[str, Any], call: Call, **options: Any) -> Any:
    """A row that an entry makes has the key of the entry, and no text says another."""
    require_known(put, {name: 0 for name in (*form_class.base_fields, "taken_at") if name != "key"})
    return cleaned(filled(form_class, {**put, "key": str(call.entry.key)}, **options))


def note_check(call: Call) -> Done:
    form = only_put(
        filled(CheckEditForm, call.entry.put, row=call.row, fixed=False), call.entry.put
    )
    row = checking.change_check(
        actor=call.actor, check=call.row, at=call.latest, opened=call.entry.opened, **cleaned(form)
    )
    return Done(None, standing(row, call.entry.put))


def add_check_sample(call: Call) -> Done:
    """`label` as it stands on the bottle; without one the server proposes the next of its point."""
    check, point = call.row, call.entry.text("point")
    put = {
        "taken_at": call.at.isoformat(),
        "label": sampling.proposed_label(check, point),
        **call.entry.put,
    }
    given = _under_its_key(
        SampleForm, put, call, zone=check.site.time_zone, now=call.latest
    )  # fmt: skip
    sample = sampling.add_sample(
        actor=call.actor, check=check, taken_by=_by(call.actor.person, call.off), **given
    )
    return Done(None, {"sample": str(sample.key), "label": sample.label})


def _by(person: str, off: timedelta) -> str:
    """A check has no visit whose record would tell of a device whose clock is wrong, so that stands
    with the moment itself."""
    clock = device_clocks.words(off)
    return f"{person[:70]}, device {clock}" if clock else person


def note_check_sample(call: Call) -> Done:
    form = filled(SampleEditForm, call.entry.put, row=call.row, now=call.latest)
    row = sampling.change_sample(
        actor=call.actor, sample=call.row, at=call.latest, opened=call.entry.opened,
        **cleaned(only_put(form, call.entry.put)),
    )  # fmt: skip
    return Done(None, standing(row, call.entry.put))


def withdraw_check_sample(call: Call) -> Done:
    given = cleaned(filled(WhyForm, call.entry.put))
    with seen_as(call, "reason", "withdrawn_reason") as seen:
        row = sampling.withdraw_sample(actor=call.actor, sample=call.row, seen=seen, **given)
    return Done(None, {"withdrawn_reason": row.withdrawn_reason})


def bring_back_check_sample(call: Call) -> Done:
    require_known(call.entry.put, {})
    sampling.bring_back_sample(actor=call.actor, sample=call.row, seen=call.entry.opened)
    return Done(None, {"withdrawn_reason": ""})


def add_value(call: Call) -> Done:
    """One property of one bottle as measured; judged as the page judges it. Where another phone's
    stands, a person decides by sending it again with that one in `opened`."""
    require_known(call.entry.put, VALUE)
    known = PROPERTIES.get(name := call.entry.text("property"))
    if known is None:
        raise Refused(
            "unknown_property", f"The properties are {', '.join(PROPERTIES)}.", "property"
        )
    typed = call.entry.text("value").strip()[:MOST_TYPED]
    number, unit = apart(typed, known.units)
    if not number:
        raise Refused("missing", "Write what was measured, with its unit.", "value")
    if not unit and known.unit:
        raise Refused(
            "unit_missing",
            f"“{typed}” has no unit that is known here: write the number, a space and one of "
            f"{', '.join(known.units)}.",
            "value",
        )
    origin = call.entry.text("origin") or OWN
    if origin not in SampleValue.Origin.values:
        raise Refused("invalid_choice", f"One of {', '.join(SampleValue.Origin.values)}.", "origin")
    told = cleaned(filled(MeasuredForm, {n: call.entry.text(n) for n in MeasuredForm.base_fields}))
    entry = ValueEntry(
        call.entry.key, name, number, unit, call.entry.text("temperature")[:MOST_TYPED], **told
    )
    if not (call.row.withdrawn_reason or SampleValue.objects.filter(key=call.entry.key).exists()):
        checking.replace_value(
            actor=call.actor, sample=call.row, name=name, seen=call.entry.opened, at=call.at
        )
    taken = take_values(
        actor=call.actor, sample=call.row, entries=[entry], origin=origin, at=call.at
    )
    if taken.problems:
        _refuse(entry, taken.problems)
    [value] = taken.saved
    return Done(None, {"value": str(value.key), "typed": value.value_typed})


def _refuse(entry: ValueEntry, problems: list[Any]) -> None:
    places = {entry.place: "value", entry.temperature_place: "temperature"}
    if problems[0].code == Conflict.code:
        raise Conflict(problems[0].sentence)
    raise Wrong([type(p)(places.get(p.place, p.place), p.code, p.sentence) for p in problems])


def set_aside_value(call: Call) -> Done:
    given = cleaned(filled(WhyForm, call.entry.put))
    with seen_as(call, "reason", "set_aside_reason") as seen:
        value = checking.set_aside_value(
            actor=call.actor, value=call.row, at=call.at, seen=seen, **given
        )
    return _aside(value)


def bring_back_value(call: Call) -> Done:
    require_known(call.entry.put, {})
    opened = call.entry.opened
    checking.replace_value(
        actor=call.actor, sample=call.row.sample, name=call.row.name, seen=opened, at=call.at,
        by=call.row,
    )  # fmt: skip
    return _aside(checking.bring_back_value(actor=call.actor, value=call.row, seen=opened))


def _aside(value: SampleValue) -> Done:
    said = {"set_aside_reason": value.set_aside_reason, "set_aside_by": value.set_aside_by}
    return Done(None, said)


def hand_in_check(call: Call) -> Done:
    """Stamped by the server: a record is handed in when it has arrived."""
    require_known(call.entry.put, {})
    row: Any = hand_in_record(actor=call.actor, key=call.row.key, at=call.now, once=call.entry.key)
    told = {name: getattr(row, name) for name in ("state", "limits", "strength", "layers")}
    return Done(None, told)
