"""Send a handed-in record back with a reason; what was handed in stays with its digest."""

import uuid
from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.findings import opening
from itm.records import states
from itm.records.models import Record


@transaction.atomic(durable=True)
def send_back(*, actor: Actor, key: uuid.UUID, reason: str, at: datetime) -> Record:
    """Raises NotFound, Forbidden, Conflict; Refused reason_missing, wrong_state."""
    record = states.locked(actor, key)
    states.require(actor, "send_back", record)
    if not reason.strip():
        raise Refused("reason_missing", "Say what has to be put right before it goes on.", "reason")
    states.move(
        actor=actor, record=record, verb="send_back", at=at, reason=reason.strip(),
        columns=record.NOT_HANDED_IN,
    )  # fmt: skip
    words = f"The record was sent back: {reason.strip()}"
    opening.after_unsettled(actor=actor, record=record, words=words, at=at)
    return record
