"""Which devices have a test day on them, so that nobody hands it in while another one still holds
entries of it: what comes after a hand-in is refused there and waits until the record is sent back.

It can only warn. A telephone that fell into the water must not keep a crew from handing in.
"""

from datetime import datetime, timedelta
from uuid import UUID

from itm.accounts.actor import Actor
from itm.core.figures import instant
from itm.records.drafts import writes_in
from itm.records.models import Along, Visit

# A device with signal asks once a minute. Own choice: what was silent for longer may have been out
# of reach, with entries that nobody here knows of.
SILENT = timedelta(minutes=10)
MOST = 50  # devices of one visit that are told apart, own choice: a crew has some
MOST_WAITING = 100_000  # more than a device holds; a larger number says no more


def note(*, actor: Actor, visit: Visit, device: UUID, waiting: int, at: datetime) -> None:
    """The device has the day, and says how much of it it has not sent yet. May run twice."""
    if not writes_in(actor, visit):
        return  # who only looks has nothing to enter
    said = {
        "person": actor.person,
        "heard_at": at,
        "waiting": max(0, min(waiting, MOST_WAITING)),
    }
    if Along.objects.filter(visit=visit, device=device).update(**said):
        return
    if Along.objects.filter(visit=visit).count() < MOST:
        Along.objects.update_or_create(visit=visit, device=device, defaults=said)


def taken_off(*, visit: Visit, device: UUID) -> None:
    """The day is no longer on the device, and nothing of it waits there. May run twice."""
    Along.objects.filter(visit=visit, device=device).delete()


def may_hold_more(visit: Visit, at: datetime, *, but: UUID | None = None) -> list[str]:
    """A sentence for each other device that may hold entries which are not here."""
    rows = Along.objects.filter(visit=visit)
    return [said for row in rows if row.device != but and (said := _said(row, visit, at))]


def _said(row: Along, visit: Visit, at: datetime) -> str:
    heard = instant(row.heard_at, visit.site.time_zone)
    if row.waiting:
        many = "1 entry" if row.waiting == 1 else f"{row.waiting} entries"
        return (
            f"The device of {row.person} still held {many} of this day when it was last heard, "
            f"{heard}. Bring it to a signal before this is handed in; afterwards they are refused."
        )
    if at - row.heard_at < SILENT:
        return ""
    return (
        f"The device of {row.person} has this day on it and was last heard {heard}. What was "
        "entered on it since is not here. Bring it to a signal before this is handed in; "
        "afterwards it is refused."
    )
