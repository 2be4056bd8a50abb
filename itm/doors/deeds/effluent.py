"""What came out on a test day, was caught, got away and was hauled off, line by line."""

from uuid import UUID

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Conflict, NotFound, Refused
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled, seen_as
from itm.records import effluent
from itm.records.effluent_forms import EffluentForm
from itm.records.merge import Crossed
from itm.records.models import EffluentLine
from itm.registry.forms import WithdrawForm

KINDS = EffluentLine.Kind


def line_of_day(actor: Actor, key: UUID) -> EffluentLine:
    """A device works with a test day, so what belongs to none is not found here."""
    row = effluent.line(actor, key)
    if row.visit is None:
        raise NotFound("line of effluent of a test day", key)
    return row


def note_effluent(call: Call) -> Done:
    """Of the day of its stamp, with the PFAS status of the tanks, unless the entry says it."""
    visit, put = call.row, dict(call.entry.put)
    kind = str(put.pop("kind", ""))
    if kind not in KINDS.values:
        raise Refused("kind", f"Say which of these it is: {', '.join(KINDS.values)}.", "kind")
    zone = visit.site.time_zone
    on = date_at(zone, call.at)
    usual = {"happened_on": on.isoformat(), "pfas": effluent.pfas_of(visit, on)}
    given = {**usual, **{name: text for name, text in put.items() if text or name not in usual}}
    form = filled(
        EffluentForm, given, kind=kind, site=visit.site, visit=visit,
        organisation=call.actor.organisation,
    )  # fmt: skip
    cleaned(form)
    made = effluent.note(
        actor=call.actor, site=visit.site, visit=visit, today=date_at(zone, call.latest),
        kind=kind, key=call.entry.key, **form.values,
    )  # fmt: skip
    return Done(visit, {"effluent": str(made.key), "pfas": made.get_pfas_display()})


def withdraw_effluent(call: Call) -> Done:
    because = cleaned(filled(WithdrawForm, call.entry.put))["because"]
    try:
        with seen_as(call, "because", "withdrawn_because") as seen:
            row = effluent.withdraw(
                actor=call.actor, line=call.row, because=because, at=call.at, seen=seen
            )
    except Crossed:
        raise
    except Conflict as conflict:
        there = {"withdrawn_because": because}
        return Done(call.row.visit, there, "stood_already", conflict.sentence)
    return Done(call.row.visit, {"withdrawn_because": row.withdrawn_because})
