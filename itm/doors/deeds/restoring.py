"""Each line of the restoration list to its true end."""

from itm.actions import restore
from itm.core.errors import Conflict, Refused
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled, require_known
from itm.records.forms import LeftOutForm
from itm.records.merge import Crossed
from itm.records.models import RestorationLine

Outcome = RestorationLine.Outcome


def end_line(call: Call) -> Done:
    """Ended twice the same way is no conflict; ended in two ways is one, and is settled by sending
    the entry again with the outcome that stands in `opened`."""
    put = dict(call.entry.put)
    outcome = str(put.pop("outcome", ""))
    more = {}
    if outcome == Outcome.LEFT_OUT:
        put = {"handed_at": call.at.isoformat(), **put}
        zone = call.row.visit.site.time_zone
        more = cleaned(filled(LeftOutForm, put, zone=zone, now=call.latest))
    else:
        require_known(call.entry.put, {"outcome": ""})

    def end() -> RestorationLine:
        return restore.end_line(
            actor=call.actor, line=call.row, outcome=outcome, at=call.at, **more
        )

    try:
        line = end()
    except Conflict as conflict:
        there = RestorationLine.objects.get(pk=call.row.pk)
        if there.outcome == outcome:
            return Done(there.visit, _ended(there), "stood_already", conflict.sentence)
        if call.entry.opened.get("outcome") != there.outcome:
            raise Crossed({"outcome": _two_ends(there, outcome)}, _ended(there)) from conflict
        restore.reopen_line(actor=call.actor, line=call.row, at=call.at)
        line = end()
    return Done(call.row.visit, _ended(line))


def _two_ends(there: RestorationLine, outcome: str) -> str:
    words = dict(Outcome.choices).get(outcome, outcome)
    return (
        f"{there.ended_by} ended “{there.text}” as {there.get_outcome_display()}; you ended it as "
        f"{words}. Nothing was overwritten: look at the valve, then say which is true."
    )


def reopen_line(call: Call) -> Done:
    require_known(call.entry.put, {})
    line = restore.reopen_line(actor=call.actor, line=call.row, at=call.at)
    return Done(call.row.visit, _ended(line))


def put_back(call: Call) -> Done:
    require_known(call.entry.put, {"reason": ""})
    reason = call.entry.text("reason")
    if len(reason) > 300:
        raise Refused("too_long", "At most 300 characters.", "reason")
    line = restore.put_back(
        actor=call.actor, line=call.row, at=call.at, reason=reason, key=call.entry.key
    )
    return Done(call.row.visit, {"line": str(line.key), **_ended(line)})


def _ended(line: RestorationLine) -> dict[str, str]:
    at = line.ended_at
    return {
        "outcome": line.outcome,
        "ended_at": at.isoformat() if at else "",
        "ended_by": line.ended_by,
    }
