"""Hand a draft in: evaluated, kept with its digest, waiting for a signature."""

import uuid
from datetime import datetime

from django.db import transaction

import calc
from calc.canonical import canonical_bytes, digest_bytes
from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.intake.complete import problems
from itm.records import states
from itm.records.document import document
from itm.records.evaluate import evaluate, outcome
from itm.records.loading import whole
from itm.records.models import Move, ProportioningTest


@transaction.atomic
def hand_in(
    *, actor: Actor, key: uuid.UUID, at: datetime, once: uuid.UUID | None = None
) -> ProportioningTest:
    """May run twice: the same `once` returns what the first time made. May be part of a whole
    day that comes in at once, so its transaction can be another's.

    Raises NotFound, Forbidden, Conflict; Refused wrong_state, incomplete, no_result.
    """
    test = states.locked(actor, key)
    states.require(actor, "hand_in", test)
    if once is not None and Move.objects.filter(once=once, test=test).exists():
        return test
    if test.state == ProportioningTest.State.DRAFT and (left := problems(test)):
        more = f" ({len(left) - 1} more)" if len(left) > 1 else ""
        raise Refused("incomplete", f"{left[0].sentence}{more}", left[0].place)
    if test.state == ProportioningTest.State.DRAFT and test.visit.started_at:
        test.tested_on = date_at(test.site.time_zone, test.visit.started_at)
    try:
        evaluation = evaluate(test, actor=actor)
    except calc.CalcError as refusal:
        raise Refused("no_result", refusal.message, "bench") from refusal
    limits, certainty = outcome(evaluation.result)
    columns = {
        "tested_on": test.tested_on,
        "limits": limits,
        "certainty": certainty,
        "handed_in_at": at,
        "handed_in_by": actor.user,
    }
    loaded = whole(test.pk)
    for name, value in columns.items():
        setattr(loaded, name, value)
    data = canonical_bytes(document(loaded, evaluation))
    states.move(
        actor=actor, test=test, verb="hand_in", at=at, document=data, digest=digest_bytes(data),
        once=once, columns=columns,
    )  # fmt: skip
    return test
