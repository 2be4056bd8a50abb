"""The first valve is moved: from now on the system is out of service."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.findings import impairing
from itm.records import queries
from itm.records.drafts import State, locked_visit
from itm.records.models import Visit


@transaction.atomic
def start_test_day(
    *, actor: Actor, key: UUID, reason: str, coordinator: str, at: datetime
) -> Visit:
    """Open the impairment; owner and authority see the visit from now on.

    The prepared tests are dated by the site's own clock. May run twice: the second finds it
    started. Raises NotFound, Forbidden; Refused nothing_prepared, reason_missing,
    coordinator_missing.
    """
    visit = locked_visit(actor, queries.visit(actor, key))
    if visit.started_at is not None:
        return visit
    if not visit.restoration_lines.exists():
        raise Refused(
            "nothing_prepared",
            "Prepare a test first: its restoration list is what ends the impairment.",
        )
    if not reason.strip():
        raise Refused("reason_missing", "Say why the system goes out of service.", "reason")
    if not coordinator.strip():
        raise Refused(
            "coordinator_missing",
            "Name the impairment coordinator: the owner, unless somebody else is named.",
            "coordinator",
        )
    visit.impairment_reason, visit.coordinator = reason.strip(), coordinator.strip()
    visit.started_at, visit.started_by = at, actor.person
    visit.save(by=actor, text="Test day started: the system is out of service.")
    for test in visit.tests.filter(state=State.DRAFT):
        test.tested_on = date_at(visit.site.time_zone, at)
        test.save(by=actor)
    impairing.follow(actor=actor, visit=visit, at=at)
    return visit
