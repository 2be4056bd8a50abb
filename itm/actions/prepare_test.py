"""One more test of a visit: on a day that has begun, its system is out from now on."""

from datetime import datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import impairing
from itm.records import preparing
from itm.records.models import ProportioningTest, Visit


@transaction.atomic
def prepare_test(*, actor: Actor, visit: Visit, at: datetime, **given: Any) -> ProportioningTest:
    """Raises what `records.preparing.prepare_test` raises."""
    test = preparing.prepare_test(actor=actor, visit=visit, at=at, **given)
    if test.visit.started_at is not None:
        impairing.follow(actor=actor, visit=test.visit, at=at)
    return test
