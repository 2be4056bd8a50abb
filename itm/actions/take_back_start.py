"""The test day was started by mistake: no valve has moved, and nothing was out of service."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import impairing
from itm.records import services
from itm.records.models import Visit


@transaction.atomic
def take_back_start(
    *, actor: Actor, visit: Visit, at: datetime, seen: Mapping[str, str] | None = None
) -> Visit:
    """May run twice. Raises what `records.services.take_back_start` and
    `findings.impairing.take_back` raise."""
    why = visit.impairment_reason
    row = services.take_back_start(actor=actor, visit=visit, seen=seen)
    impairing.take_back(actor=actor, visit=row, why=why, at=at)
    return row


def may_take_back(visit: Visit) -> bool:
    return not services.begun(visit) and not impairing.noted_since(visit)
