"""The restoration list line by line, and what each end of a line means for what is wrong."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import impairing, opening
from itm.records import restoration
from itm.records.models import RestorationLine, Visit


@transaction.atomic
def end_line(
    *, actor: Actor, line: RestorationLine, outcome: str, at: datetime, **more: Any
) -> RestorationLine:
    """Left out of service it is a deficiency at once. Raises what `records.restoration.end_line`
    raises."""
    done = restoration.end_line(actor=actor, line=line, outcome=outcome, at=at, **more)
    opening.after_line(actor=actor, line=done, at=at)
    _follow(actor, done, at)
    return done


@transaction.atomic
def reopen_line(
    *, actor: Actor, line: RestorationLine, at: datetime, seen: Mapping[str, str] | None = None
) -> RestorationLine:
    """Raises what `records.restoration.reopen_line` raises. May run twice."""
    done = restoration.reopen_line(actor=actor, line=line, seen=seen)
    opening.after_reopened(actor=actor, line=done, at=at)
    _follow(actor, done, at)
    return done


@transaction.atomic
def put_back(*, actor: Actor, line: RestorationLine, at: datetime, **more: Any) -> RestorationLine:
    """Proposes to close what leaving it out opened. Raises what `records.restoration.put_back`
    raises."""
    later = restoration.put_back(actor=actor, line=line, at=at, **more)
    opening.after_put_back(actor=actor, line=later, at=at)
    _follow(actor, later, at)
    return later


def _follow(actor: Actor, line: RestorationLine, at: datetime) -> None:
    """The visit as it stands now: ending its last line has ended it elsewhere."""
    visit = Visit.objects.get(pk=line.visit_id)
    impairing.follow(actor=actor, visit=visit, at=at)
