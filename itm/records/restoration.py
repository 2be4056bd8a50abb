"""Restore: each line ends truthfully, and the impairment ends by itself with the last one."""

import uuid
from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.db.models import Max, Q

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.core.figures import instant
from itm.records import merge
from itm.records.drafts import State, locked_visit, new_key, require_started
from itm.records.hands import whose
from itm.records.models import RestorationLine, Visit

Outcome = RestorationLine.Outcome
# A line is out while nobody ended it, or while it was left out and no later line follows it.
OUT = Q(outcome=Outcome.OPEN) | Q(outcome=Outcome.LEFT_OUT, followed_by=None)


@transaction.atomic
def end_line(
    *, actor: Actor, line: RestorationLine, outcome: str, at: datetime, reason: str = "",
    handed_to: str = "", handed_at: datetime | None = None, by: str = "",
) -> RestorationLine:  # fmt: skip
    """Restored, not fitted, or left out of service: then why, and to whom and when in writing. `by`
    is who did it where a paper names another than who types it in.

    Raises Forbidden; Refused not_started, before_start, outcome_unknown, reason_missing,
    hand_over_missing, by_long; Conflict when somebody has ended it.
    """
    visit = locked_visit(actor, line.visit)
    require_started(visit)
    row = RestorationLine.objects.get(pk=line.pk)
    if row.outcome != Outcome.OPEN:
        raise Conflict(f"{row.ended_by} has ended “{row.text}” as {row.get_outcome_display()}.")
    _require_after_start(visit, row, at)
    if outcome not in (Outcome.RESTORED, Outcome.NOT_FITTED, Outcome.LEFT_OUT):
        raise Refused("outcome_unknown", "Say how the line ended.", "outcome")
    row.outcome, row.ended_at, row.ended_by = outcome, at, whose(actor, by)
    row.reason = reason.strip()
    if outcome == Outcome.LEFT_OUT:
        _hand_over(row, handed_to.strip(), handed_at)
    row.save(by=actor)
    _end_impairment(actor, visit)
    return row


@transaction.atomic
def reopen_line(
    *, actor: Actor, line: RestorationLine, seen: Mapping[str, str] | None = None
) -> RestorationLine:
    """The line was ended by mistake; with it the impairment is open again. May run twice.

    Refused once a test that rests on it is handed in. `seen` is the end that the person saw. Raises
    Forbidden; Refused not_draft, put_back_already; Crossed.
    """
    visit = locked_visit(actor, line.visit)
    row = RestorationLine.objects.get(pk=line.pk)
    merge.require_seen(row, seen, "outcome", "ended_at")
    tests = visit.tests.filter(proportioner=row.proportioner_id)
    handed_in = tests.filter(state__in=[State.HANDED_IN, State.SEALED]).exists()
    if row.sealed_at is not None or (handed_in and row.follows_id is None):
        raise Refused(
            "not_draft", "A test was handed in with this line as it stands; it can't be reopened."
        )
    if RestorationLine.objects.filter(follows=row).exists():
        raise Refused("put_back_already", "This line was put back later; reopen that line.")
    row.outcome, row.ended_at, row.ended_by = Outcome.OPEN, None, ""
    row.reason, row.handed_to, row.handed_at = "", "", None
    row.save(by=actor, verb="reopened")
    if visit.restored_at is not None:
        visit.restored_at, visit.restored_by = None, ""
        visit.save(by=actor, verb="reopened")
    return row


@transaction.atomic
def put_back(
    *, actor: Actor, line: RestorationLine, at: datetime, reason: str = "",
    key: uuid.UUID | None = None,
) -> RestorationLine:  # fmt: skip
    """A line left out of service is in place now: a line of its own says so, the old one stays.

    Works at any time, also after the record is sealed. Raises Forbidden; Refused not_left_out,
    before_start, key_used; Conflict when it was put back already.
    """
    visit = locked_visit(actor, line.visit)
    row = RestorationLine.objects.get(pk=line.pk)
    if row.outcome != Outcome.LEFT_OUT:
        raise Refused("not_left_out", f"“{row.text}” was not left out of service.")
    if RestorationLine.objects.filter(follows=row).exists():
        raise Conflict(f"“{row.text}” was put back already.")
    _require_after_start(visit, row, at)
    lines = visit.restoration_lines.filter(proportioner=row.proportioner_id)
    last = lines.aggregate(Max("position"))["position__max"]
    later = RestorationLine.objects.create(
        by=actor, key=new_key(RestorationLine, key), visit=visit,
        proportioner_id=row.proportioner_id, position=last + 1,
        text=row.text, outcome=Outcome.RESTORED, ended_at=at, ended_by=actor.person,
        reason=reason.strip(), follows=row,
    )  # fmt: skip
    _end_impairment(actor, visit)
    return later


def _require_after_start(visit: Visit, row: RestorationLine, at: datetime) -> None:
    """A line that ended before the first valve moved ends no impairment: two clocks disagree, and
    only a person knows which of them is wrong."""
    if visit.started_at is not None and at < visit.started_at:
        zone = visit.site.time_zone
        raise Refused(
            "before_start",
            f"“{row.text}” was ended at {instant(at, zone)} by the clock that stamped it, but "
            f"{visit.started_by}’s first valve was moved at {instant(visit.started_at, zone)}: one "
            "of the two clocks was wrong. Say when the line was ended, or put the start right.",
            "ended_at",
        )


def _hand_over(row: RestorationLine, handed_to: str, handed_at: datetime | None) -> None:
    if not row.reason:
        raise Refused("reason_missing", "Say why it stays out of service.", "reason")
    if not handed_to or handed_at is None:
        raise Refused(
            "hand_over_missing",
            "Say to whom and when this was handed over in writing: somebody has to know that the "
            "system will not work.",
            "handed_at" if handed_to else "handed_to",
        )
    row.handed_to, row.handed_at = handed_to, handed_at


def _end_impairment(actor: Actor, visit: Visit) -> None:
    """Over when no line is open and none is left out without having been put back: with the line
    that ended last, which of two devices need not be the one that came in last."""
    out = visit.restoration_lines.filter(OUT)
    if visit.restored_at is None and visit.started_at is not None and not out.exists():
        ended = visit.restoration_lines.exclude(ended_at=None)
        last = ended.latest("ended_at", "pk")
        visit.restored_at, visit.restored_by = last.ended_at, last.ended_by
        visit.save(by=actor, text="The last line is back in place.")
