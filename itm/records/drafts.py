"""Who may write in a visit, and until when.

Each write takes its row again under a lock, so that a hand-in at the same moment comes either
before it (and the write is refused) or after it (and holds it).
"""

import uuid

from itm.accounts.actor import Actor
from itm.core.errors import Forbidden, Refused
from itm.core.history import Tracked
from itm.records.models import Bench, ProportioningTest, Visit

State = ProportioningTest.State


def require_crew(actor: Actor, visit: Visit) -> None:
    """Whoever belongs to the contractor of the visit captures; no further role is asked."""
    if actor.organisation_id is None or visit.contractor_id != actor.organisation_id:
        raise Forbidden("Only the contractor of this visit can write in it.")


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
