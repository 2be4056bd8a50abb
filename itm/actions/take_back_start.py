"""The test day was started by mistake: no valve has moved, and nothing was out of service."""

from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import impairing
from itm.records import services
from itm.records.models import Visit


@transaction.atomic
def take_back_start(*, actor: Actor, visit: Visit, at: datetime) -> Visit:
    """Raises what `records.services.take_back_start` raises. May run twice."""
    row = services.take_back_start(actor=actor, visit=visit)
    impairing.follow(actor=actor, visit=row, at=at)
    return row
