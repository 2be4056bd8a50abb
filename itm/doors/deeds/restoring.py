"""Each line of the restoration list to its true end."""

from collections.abc import Mapping

from itm.actions import restore
from itm.core.errors import Conflict, Refused
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled, require_known
from itm.records.forms import LeftOutForm
from itm.records.merge import Crossed, same_moment, shown
from itm.records.models import RestorationLine

Outcome = RestorationLine.Outcome
LEFT_OUT = ("reason", "handed_to", "handed_at")


def end_line(call: Call) -> Done:
    """Ended twice the same way is no conflict. Ended in two ways, or left out with other words, is
    one, and is settled by sending the entry again with what stands in `opened`."""
    put = dict(call.entry.put)
    outcome = str(put.pop("outcome", ""))
    by = str(put.pop("by", ""))
    more = {}
    if outcome == Outcome.LEFT_OUT:
        put = {"handed_at": call.at.isoformat(), **put}
        zone = call.row.visit.site.time_zone
        more = cleaned(filled(LeftOutForm, put, zone=zone, now=call.latest))
    else:
        require_known(put, {})

    def end() -> RestorationLine:
        return restore.end_line(
            actor=call.actor, line=call.row, outcome=outcome, at=call.at, by=by, **more
        )

    try:
        line = end()
    except Conflict as conflict:
        there = RestorationLine.objects.get(pk=call.row.pk)
        other = _other_words(there, outcome, call)
        if not other:
            return Done(there.visit, _ended(there), "stood_already", conflict.sentence)
        if any(call.entry.opened.get(name) != text for name, text in other.items()):
            sentence = _two_ends(there, outcome, other)
            raise Crossed({next(iter(other)): sentence}, other) from conflict
        restore.reopen_line(actor=call.actor, line=call.row, at=call.at)
        line = end()
    return Done(call.row.visit, _ended(line))


def _other_words(there: RestorationLine, outcome: str, call: Call) -> dict[str, str]:
    """What stands and is said otherwise here; a time is only what somebody put."""
    if there.outcome != outcome:
        return {"outcome": there.outcome}
    put = {name: call.entry.text(name).strip() for name in LEFT_OUT if name in call.entry.put}
    return {
        name: stands
        for name, mine in put.items()
        if (stands := shown(there, name)) != mine and not same_moment(stands, mine)
    }


def _two_ends(there: RestorationLine, outcome: str, other: Mapping[str, str]) -> str:
    words = dict(Outcome.choices).get(outcome, outcome)
    if "outcome" not in other:
        return (
            f"{there.ended_by} left “{there.text}” out of service too: because {there.reason}, "
            f"handed over to {there.handed_to}. You wrote otherwise. Nothing was overwritten: say "
            "which is to stand."
        )
    return (
        f"{there.ended_by} ended “{there.text}” as {there.get_outcome_display()}; you ended it as "
        f"{words}. Nothing was overwritten: look at the valve, then say which is true."
    )


def reopen_line(call: Call) -> Done:
    require_known(call.entry.put, {})
    line = restore.reopen_line(actor=call.actor, line=call.row, at=call.at, seen=call.entry.opened)
    return Done(call.row.visit, _ended(line))


def put_back(call: Call) -> Done:
    """Twice in the same words is no conflict; other words are, as in `end_line`."""
    require_known(call.entry.put, {"reason": ""})
    reason = call.entry.text("reason").strip()
    if len(reason) > 300:
        raise Refused("too_long", "At most 300 characters.", "reason")
    try:
        line = restore.put_back(
            actor=call.actor, line=call.row, at=call.at, reason=reason, key=call.entry.key
        )
    except Conflict as conflict:
        there = RestorationLine.objects.get(follows=call.row)
        told = {"line": str(there.key), **_ended(there)}
        if reason in ("", there.reason):
            return Done(there.visit, told, "stood_already", conflict.sentence)
        if call.entry.opened.get("reason") != there.reason:
            sentence = (
                f"{there.ended_by} put “{there.text}” back already: “{there.reason or 'no word'}”. "
                f"You wrote “{reason}”. Nothing was overwritten: say which is to stand."
            )
            raise Crossed({"reason": sentence}, {"reason": there.reason}) from conflict
        restore.reopen_line(actor=call.actor, line=there, at=call.at)
        line = restore.end_line(
            actor=call.actor, line=there, outcome=Outcome.RESTORED, at=call.at, reason=reason
        )
    return Done(call.row.visit, {"line": str(line.key), **_ended(line)})


def _ended(line: RestorationLine) -> dict[str, str]:
    at = line.ended_at
    return {
        "outcome": line.outcome,
        "ended_at": at.isoformat() if at else "",
        "ended_by": line.ended_by,
    }
