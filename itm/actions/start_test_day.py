"""The first valve is moved: from now on the system is out of service."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.core.figures import instant
from itm.findings import impairing
from itm.records import dating, queries
from itm.records.drafts import State, locked_visit, require_begin, require_open_visit
from itm.records.merge import Crossed, text
from itm.records.models import Visit


@transaction.atomic
def start_test_day(
    *, actor: Actor, key: UUID, reason: str, coordinator: str, at: datetime,
    seen: Mapping[str, str] | None = None, now: datetime | None = None,
) -> Visit:  # fmt: skip
    """Open the impairment; owner and authority see the visit from now on.

    The prepared tests are dated by the site's own clock. May run twice. Two people who say it
    otherwise are Crossed, because the system was out from the earlier moment on; the one who has
    `seen` the start that stands (started_at, reason, coordinator) puts another in its place.
    `now` is the server's clock where `at` is that of a device or of a person.
    Raises NotFound, Forbidden; Crossed; Refused nothing_prepared, reason_missing,
    coordinator_missing, not_draft, to_come, far_from_plan.
    """
    visit = locked_visit(actor, queries.visit(actor, key))
    reason, coordinator = reason.strip(), coordinator.strip()
    said = {"started_at": at, "reason": reason, "coordinator": coordinator}
    other = _other(visit, said) if visit.started_at is not None else {}
    if visit.started_at is not None and not other:
        return visit
    if any((seen or {}).get(name) != text for name, text in other.items()):
        raise Crossed({next(iter(other)): _two_starts(visit, said)}, other)
    if other:
        require_open_visit(visit)
    require_begin(actor, visit, at)
    dating.require_start(visit, at, now or at)
    if not visit.restoration_lines.exists():
        raise Refused(
            "nothing_prepared",
            "Prepare a test first: its restoration list is what ends the impairment.",
        )
    if not reason:
        raise Refused("reason_missing", "Say why the system goes out of service.", "reason")
    if not coordinator:
        raise Refused(
            "coordinator_missing",
            "Name the impairment coordinator: the owner, unless somebody else is named.",
            "coordinator",
        )
    visit.impairment_reason, visit.coordinator = reason, coordinator
    visit.started_at, visit.started_by = at, actor.person
    visit.save(by=actor, text="Test day started: the system is out of service.")
    for test in visit.tests.filter(state=State.DRAFT):
        test.tested_on = date_at(visit.site.time_zone, at)
        test.save(by=actor)
    impairing.follow(actor=actor, visit=visit, at=at)
    return visit


def _other(visit: Visit, said: Mapping[str, Any]) -> dict[str, str]:
    """Of the start that stands, what is said otherwise here."""
    stands = {
        "started_at": visit.started_at,
        "reason": visit.impairment_reason,
        "coordinator": visit.coordinator,
    }
    return {name: text(value) for name, value in stands.items() if value != said[name]}


def _two_starts(visit: Visit, said: Mapping[str, Any]) -> str:
    zone = visit.site.time_zone
    return (
        f"{visit.started_by} had started the test day already, at "
        f"{instant(visit.started_at, zone)}: {visit.impairment_reason}, coordinator "
        f"{visit.coordinator}. You started it at {instant(said['started_at'], zone)}: "
        f"{said['reason']}, coordinator {said['coordinator']}. Nothing was overwritten: say which "
        "start is right; the system was out of service from the first valve on."
    )
