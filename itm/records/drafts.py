"""Who may write in a visit, and until when.

Each write takes its row again under a lock, so that a hand-in at the same moment comes either
before it (and the write is refused) or after it (and holds it).
"""

import uuid
from datetime import datetime, timedelta
from typing import Any

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Forbidden, Refused
from itm.core.figures import day as day_in_words
from itm.core.history import Tracked
from itm.records.models import Bench, ProportioningTest, Visit
from itm.registry.access import worked_at, works_at
from itm.registry.models import Site

State = ProportioningTest.State
# So long after an engagement what a device stamped during it may still come in: own choice, for a
# crew that was without signal on the last day.
LATE = timedelta(days=3)


def writes_in(actor: Actor, visit: Visit) -> bool:
    """The crew of the visit while it is engaged; afterwards only in a day that it began then."""
    if actor.organisation_id is None or visit.contractor_id != actor.organisation_id:
        return False
    # A page asks it for each verb: one look a visit that was read, as it stood then.
    known: dict[tuple[int, Any, Any], bool] = visit.__dict__.setdefault("_writes_in", {})
    asked = (actor.organisation_id, actor.date_at(visit.site.time_zone), visit.started_at)
    if asked not in known:
        known[asked] = _writes_in(actor, visit)
    return known[asked]


def _writes_in(actor: Actor, visit: Visit) -> bool:
    site = visit.site
    if visit.started_at is not None:
        begun = date_at(site.time_zone, visit.started_at)
        if worked_at(actor, site, begun, begun):
            return True
    today = actor.date_at(site.time_zone)
    return worked_at(actor, site, today - LATE, today)


def require_crew(actor: Actor, visit: Visit) -> None:
    """Whoever belongs to the contractor of the visit captures; no further role is asked."""
    if actor.organisation_id is None or visit.contractor_id != actor.organisation_id:
        raise Forbidden("Only the contractor of this visit can write in it.")
    if not writes_in(actor, visit):
        raise Forbidden(over(visit.site))


def may_begin(actor: Actor, visit: Visit, at: datetime | None = None) -> bool:
    """One more test, and the start of the day: while engaged, or at an hour of the engagement that
    a device stamped and hands over late."""
    if not writes_in(actor, visit):
        return False
    return works_at(actor, visit.site) or (at is not None and worked_late(actor, visit.site, at))


def worked_late(actor: Actor, site: Site, at: datetime) -> bool:
    """Whether that moment lies on a day of the engagement, and not longer ago than `LATE`."""
    day, today = date_at(site.time_zone, at), actor.date_at(site.time_zone)
    return today - LATE <= day <= today and worked_at(actor, site, day, day)


def sent_later(actor: Actor, site: Site) -> str:
    """What stands with the beginning of a record that came in after the engagement."""
    if works_at(actor, site):
        return ""
    today = day_in_words(actor.date_at(site.time_zone))
    return f"Begun on a device while engaged here, and sent later, on {today}."


def require_begin(actor: Actor, visit: Visit, at: datetime | None = None) -> None:
    """Raises Forbidden."""
    require_crew(actor, visit)
    if not may_begin(actor, visit, at):
        raise Forbidden(over(visit.site))


def over(site: Site) -> str:
    return (
        f"Your organisation is not engaged at {site} any more: what was begun while it was can be "
        "finished, and nothing new begins. The owner can engage it again, for a day if that is "
        "enough."
    )


def new_key(model: type[Tracked], key: uuid.UUID | None) -> uuid.UUID:
    """The key of a row that is about to be made: a device's own, so that what it enters next can
    hang on it before anybody has answered.

    Raises Refused key_used.
    """
    if key is None:
        return uuid.uuid4()
    if model._default_manager.filter(key=key).exists():
        raise Refused("key_used", "Something else is already kept under this key; make a new one.")
    return key


def locked_visit(actor: Actor, visit: Visit) -> Visit:
    """Raises Forbidden."""
    require_crew(actor, visit)
    return Visit.objects.select_for_update().get(pk=visit.pk)


def locked_draft(actor: Actor, test: ProportioningTest) -> ProportioningTest:
    """Raises Forbidden, Refused not_draft."""
    require_crew(actor, test.visit)
    now = ProportioningTest.objects.select_for_update().get(pk=test.pk)
    if now.state != State.DRAFT:
        raise Refused(
            "not_draft",
            f"This test is {now.get_state_display()} and takes no more entries; "
            "a supervisor can send back one that is handed in; a sealed one is corrected by a "
            "new record.",
        )
    return now


def on_bench(test: ProportioningTest) -> Bench:
    """The bench of a test. Raises Refused no_bench, where it is by a direct method."""
    if test.bench is None:
        raise Refused(
            "no_bench",
            "This test is by a direct method and reads no bottle; a bench has a test of its own.",
        )
    return test.bench


def require_open_visit(visit: Visit) -> None:
    """What a record prints of its visit stays as it was handed in.

    Raises Refused not_draft.
    """
    if visit.tests.filter(state__in=[State.HANDED_IN, State.SEALED]).exists():
        raise Refused(
            "not_draft",
            "A test of this visit is handed in or sealed with these facts; "
            "a handed-in one has to be sent back before they can change.",
        )


def require_started(visit: Visit) -> None:
    """Raises Refused not_started."""
    if visit.started_at is None:
        raise Refused(
            "not_started",
            "The test day has not been started: start it when the first valve is moved, so that "
            "owner and authority know that the system is out of service.",
        )
