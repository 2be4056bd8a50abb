"""Give a draft up with a reason. Its readings stay; nothing is deleted."""

import uuid
from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.findings import opening
from itm.records import states
from itm.records.models import Record


@transaction.atomic(durable=True)
def abandon(*, actor: Actor, key: uuid.UUID, reason: str, at: datetime) -> Record:
    """Raises NotFound, Forbidden, Conflict; Refused reason_missing, wrong_state."""
    record = states.locked(actor, key)
    states.require(actor, "abandon", record)
    if not reason.strip():
        raise Refused("reason_missing", "Say why this record is given up.", "reason")
    states.move(actor=actor, record=record, verb="abandon", at=at, reason=reason.strip())
    words = f"The record was given up: {reason.strip()}"
    opening.after_unsettled(actor=actor, record=record, words=words, at=at)
    return record
