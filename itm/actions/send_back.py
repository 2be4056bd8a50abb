"""Send a handed-in record back with a reason; what was handed in stays with its digest."""

import uuid
from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.records import states
from itm.records.models import ProportioningTest


@transaction.atomic(durable=True)
def send_back(*, actor: Actor, key: uuid.UUID, reason: str, at: datetime) -> ProportioningTest:
    """Raises NotFound, Forbidden, Conflict; Refused reason_missing, wrong_state."""
    test = states.locked(actor, key)
    states.require(actor, "send_back", test)
    if not reason.strip():
        raise Refused("reason_missing", "Say what has to be put right before it goes on.", "reason")
    states.move(
        actor=actor, test=test, verb="send_back", at=at, reason=reason.strip(),
        columns={"limits": "", "certainty": "", "handed_in_at": None, "handed_in_by": None},
    )  # fmt: skip
    return test
