"""Give a draft up with a reason. Its readings stay; nothing is deleted."""

import uuid
from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.records import states
from itm.records.models import ProportioningTest


@transaction.atomic(durable=True)
def abandon(*, actor: Actor, key: uuid.UUID, reason: str, at: datetime) -> ProportioningTest:
    """Raises NotFound, Forbidden, Conflict; Refused reason_missing, wrong_state."""
    test = states.locked(actor, key)
    states.require(actor, "abandon", test)
    if not reason.strip():
        raise Refused("reason_missing", "Say why this test is given up.", "reason")
    states.move(actor=actor, test=test, verb="abandon", at=at, reason=reason.strip())
    return test
