"""Which devices have a test day on them, so that nobody hands it in while another one still holds
entries of it: what comes after a hand-in is refused there and waits until the record is sent back,
and a photo that comes after the seal is not under it. On a shared device each person has a queue of
their own, which the next one does not see, so a row is of both.

It can only warn. A telephone that fell into the water must not keep a crew from handing in.
"""

from datetime import datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from itm.accounts.actor import Actor
from itm.core.figures import instant
from itm.records.drafts import writes_in
from itm.records.models import Along, ConcentrateCheck, Record, Visit

# A device with signal asks once a minute. Own choice: what was silent for longer may have been out
# of reach, with entries that nobody here knows of.
SILENT = timedelta(minutes=10)
MOST = 50  # devices of one visit that are told apart, own choice: a crew has some
MOST_WAITING = 100_000  # more than a device holds; a larger number says no more


def note(*, actor: Actor, visit: Visit, device: UUID, waiting: int, at: datetime) -> None:
    """The device has the day, and says how much of it it has not sent yet. May run twice."""
    if actor.person_key is None or not writes_in(actor, visit):
        return  # who only looks has nothing to enter
    said = {
        "person": actor.person,
        "heard_at": at,
        "waiting": max(0, min(waiting, MOST_WAITING)),
    }
    rows = Along.objects.filter(visit=visit)
    if rows.filter(device=device, person_key=actor.person_key).update(**said):
        return
    if rows.count() < MOST:
        Along.objects.update_or_create(
            visit=visit, device=device, person_key=actor.person_key, defaults=said
        )


def taken_off(*, actor: Actor, visit: Visit, device: UUID) -> None:
    """The day is no longer on the device, and nothing of it waits there under the name of who says
    so. May run twice."""
    if actor.person_key is not None:
        Along.objects.filter(visit=visit, device=device, person_key=actor.person_key).delete()


def may_hold_more(
    visit: Visit, at: datetime, *, verb: str = "hand_in", asks: tuple[Actor, UUID] | None = None,
    since: datetime | None = None,
) -> list[str]:  # fmt: skip
    """A sentence for each device that may hold entries which are not here, but for what the one
    that asks holds under the name of who asks. `verb` is what is about to be done with the record:
    hand_in or sign; `since`: only of devices that were heard from then on."""
    actor, device = asks or (None, None)
    told = []
    rows = Along.objects.filter(visit=visit)
    for row in rows if since is None else rows.filter(heard_at__gte=since):
        here = row.device == device
        if here and actor is not None and row.person_key == actor.person_key:
            continue
        if what := _held(row, visit, at, here):
            told.append(f"{what} {_wanted(row, verb, here)}")
    return told


def may_hold_of(record: Record, at: datetime, *, verb: str) -> list[str]:
    """The same of a record on a page of the server. A concentrate check has no visit: it comes
    along with every day of its crew at the site, so those devices are told that were heard since
    its day began, because a device that was not has never had it."""
    if not isinstance(record, ConcentrateCheck):
        return may_hold_more(record.visit, at, verb=verb)
    since = datetime.combine(record.checked_on, time(), ZoneInfo(record.site.time_zone))
    visits = Visit.objects.filter(
        site=record.site_id, contractor=record.organisation_id, along__heard_at__gte=since
    )
    told = [
        sentence
        for visit in visits.distinct().select_related("site")
        for sentence in may_hold_more(visit, at, verb=verb, since=since)
    ]
    return list(dict.fromkeys(told))


def _held(row: Along, visit: Visit, at: datetime, here: bool) -> str:
    heard = instant(row.heard_at, visit.site.time_zone)
    whose = (
        f"This device, under the name of {row.person}," if here else f"The device of {row.person}"
    )
    if row.waiting:
        many = "1 entry" if row.waiting == 1 else f"{row.waiting} entries"
        return f"{whose} still held {many} of this day when it was last heard, {heard}."
    if at - row.heard_at < SILENT:
        return ""
    return (
        f"{whose} has this day on it and was last heard {heard}. What was entered on it since is "
        "not here."
    )


def _wanted(row: Along, verb: str, here: bool) -> str:
    send = f"Let {row.person} sign in on it and send" if here else "Bring it to a signal"
    if verb == "sign":
        return (
            f"{send} before this is signed: a photo that comes later is not under the seal, and "
            "entries are taken only after the record is sent back."
        )
    return f"{send} before this is handed in; what comes afterwards is refused."
