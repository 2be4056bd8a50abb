"""What is due as a calendar that other programs read: RFC 5545, one all-day event a duty and an
order of an authority, and one a calibration for who keeps the instrument.

The day of a duty is a date on the clock of its site, so the event is a date and no instant: it
shows on that day wherever the reader is. An event keeps its UID for life. Its SEQUENCE is the
number of the newest line of history about the duty, its thing and the place of that, so it rises
whenever one of them changes, alone or in a batch of hundreds, and what was done, withdrawn or
retired is cancelled rather than dropped while a calendar may still show it.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

from django.conf import settings
from django.db.models import Max, Q
from django.urls import reverse
from icalendar import Calendar, Event, vDuration

from itm.accounts.actor import Actor
from itm.core import folding
from itm.core.figures import day
from itm.core.history import Tracked
from itm.core.models import Change
from itm.findings.models import Order
from itm.notices.seals import NewestSeal, newest_seals
from itm.registry.models import Certificate
from itm.schedule import calibrations
from itm.schedule.models import ASKED, Duty
from itm.schedule.queries import in_reach
from itm.schedule.told import READ, told
from itm.trends.orders_due import told_lately

MOST_EVENTS = 5000  # a phone takes no more in one go; own choice
AHEAD = timedelta(days=400)  # a year and what a window leaves of the next
CANCELLED_FOR = timedelta(days=60)
AT_A_TIME = 1000
REFRESH = timedelta(hours=6)

Revision = tuple[int, datetime]  # SEQUENCE, LAST-MODIFIED


def feed(actor: Actor, now: datetime) -> bytes:
    """What the reader may see: what is to come first, then what is past, the nearest days first.
    Where that is more than fits, the description of the calendar says how many are left out."""
    rows, left_out = shown(actor, now)
    papers = list(
        calibrations.told_lately(actor, now, ahead=AHEAD, behind=CANCELLED_FOR)[
            : MOST_EVENTS - len(rows)
        ]
    )
    orders = list(
        told_lately(actor, now, ahead=AHEAD, behind=CANCELLED_FOR)[
            : MOST_EVENTS - len(rows) - len(papers)
        ]
    )
    revisions = revisions_of(rows)
    seals = newest_seals(actor, {row.site_id for row in rows})
    out = Calendar()
    out.add("prodid", "-//Foam ITM//What is due//EN")
    out.add("version", "2.0")
    out.add("method", "PUBLISH")
    out.add("name", f"Foam systems, {actor.organisation_name}")  # RFC 7986
    out.add("x-wr-calname", f"Foam systems, {actor.organisation_name}")
    if left_out:
        told = f"{left_out} that are longest past are left out; the page of next things has them."
        out.add("description", told)  # RFC 7986
    out.add("refresh-interval", vDuration(REFRESH), parameters={"value": "DURATION"})
    # One copy is enough: in each event it would change all of them every hour.
    bearer = next((row for row in rows if row.stands != Duty.Stands.AT_REST), None)
    for row in rows:
        fold = folding.words() if row is bearer else ""
        seal = seals.get(row.site_id)
        out.add_component(event(row, revisions.get(row.pk, (0, now)), seal, fold))
    of_papers = revisions_of_papers(papers)
    for paper in papers:
        out.add_component(calibration(paper, of_papers.get(paper.pk, (0, now))))
    of_orders = newest_changes({row.pk: {row.key, row.site.key} for row in orders})
    for made in orders:
        out.add_component(order_event(made, of_orders.get(made.pk, (0, now))))
    return out.to_ical()


def shown(actor: Actor, now: datetime) -> tuple[list[Duty], int]:
    """With how many are left out."""
    today = now.date()
    asked = Q(stands__in=ASKED, due_on__lte=today + AHEAD)
    lately = Q(stands=Duty.Stands.AT_REST, due_on__gte=today - CANCELLED_FOR)
    rows = in_reach(actor, Duty.objects.visible_to(actor)).filter(asked | lately)
    coming = rows.filter(due_on__gte=today).order_by("due_on", "pk").values("pk")[:MOST_EVENTS]
    past = rows.filter(due_on__lt=today).order_by("-due_on", "-pk").values("pk")[:MOST_EVENTS]
    # Each along its index, and both in one query.
    both = Duty.objects.visible_to(actor).filter(Q(pk__in=coming) | Q(pk__in=past))
    read = sorted(both.select_related(*READ), key=lambda row: (row.due_on, row.pk))
    over = [row for row in reversed(read) if row.due_on < today]
    out = [*(row for row in read if row.due_on >= today), *over][:MOST_EVENTS]
    return out, rows.count() - len(out) if len(out) == MOST_EVENTS else 0


def revisions_of(duties: Sequence[Duty]) -> dict[int, Revision]:
    """By the duty's primary key: the number of the last change of all that its event tells, and
    its instant.

    The number of a line of history never falls. A count would: a thing that is moved to another
    system leaves the many changes of the first behind. It fits the 32 bits of an INTEGER (RFC 5545
    3.3.8) for two thousand million changes.
    """
    return newest_changes({duty.pk: keys_of(duty) for duty in duties})


def revisions_of_papers(papers: Sequence[Certificate]) -> dict[int, Revision]:
    """With everything said of the instrument: a newer certificate ends the one before it."""
    instruments = {paper.instrument_id: paper.instrument.key for paper in papers}
    keys: dict[int, set[UUID]] = {pk: {key} for pk, key in instruments.items()}
    every = Certificate.objects.filter(instrument__in=instruments)
    for instrument, key in every.order_by().values_list("instrument", "key"):
        keys[instrument].add(key)
    return newest_changes({paper.pk: keys[paper.instrument_id] for paper in papers})


def newest_changes(parts: dict[int, set[UUID]]) -> dict[int, Revision]:
    keys = sorted({key for some in parts.values() for key in some})
    last: dict[UUID | None, Revision] = {}
    for start in range(0, len(keys), AT_A_TIME):
        rows = Change.objects.filter(object_key__in=keys[start : start + AT_A_TIME]).order_by()
        found = rows.values_list("object_key").annotate(Max("pk"), Max("at"))
        last |= {key: (number, at) for key, number, at in found}
    out = {}
    for pk, some in parts.items():
        known = [last[key] for key in some if key in last]
        if known:
            out[pk] = (max(number for number, _ in known), max(at for _, at in known))
    return out


def keys_of(duty: Duty) -> set[UUID]:
    """Of the duty and of everything that can put it to rest or give it another name or place.

    What a task asks is no part of it: a released row of a programme never changes.
    """
    out = {duty.key}
    for way in READ:
        thing: Any = duty
        for step in way.split("__"):
            thing = getattr(thing, step) if thing is not None else None
            if isinstance(thing, Tracked):
                out.add(thing.key)
    return out


def event(duty: Duty, revision: Revision, seal: NewestSeal | None, fold: str) -> Event:
    said = told(duty)
    out = on_its_day(duty.key, duty.due_on, revision, cancelled=duty.stands == "at_rest")
    out.add("summary", f"{said.what} - {duty.site.name}: {said.where}")
    out.add("location", duty.site.name)
    out.add("url", settings.PUBLIC_URL + reverse(said.page, args=[said.key]))
    out.add("description", "\n".join(words(duty, seal, fold)))
    return out


def calibration(paper: Any, revision: Revision) -> Event:
    """On the last day that the certificate gives."""
    out = on_its_day(paper.key, paper.due_on, revision, cancelled=not paper.in_force)
    out.add("summary", f"Calibration - {paper.instrument}")
    out.add("url", settings.PUBLIC_URL + reverse("instrument", args=[paper.instrument.key]))
    out.add("description", f"Certificate {paper}: the next calibration is due on this day.")
    return out


def order_event(row: Order, revision: Revision) -> Event:
    out = on_its_day(row.key, row.due_on, revision, cancelled=not row.is_open)
    out.add("summary", f"Order of {row.organisation.name} - {row.site.name}")
    out.add("location", row.site.name)
    out.add("url", settings.PUBLIC_URL + reverse("order", args=[row.key]))
    out.add("description", f"{row.words}\nTo be met by the end of this day.")
    return out


def on_its_day(key: UUID, on: date, revision: Revision, *, cancelled: bool) -> Event:
    sequence, changed_at = revision
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    out = Event()
    out.add("uid", f"{key}@{host}")
    out.add("dtstamp", changed_at.astimezone(UTC).replace(microsecond=0))
    out.add("last-modified", changed_at.astimezone(UTC).replace(microsecond=0))
    out.add("sequence", sequence)
    out.add("dtstart", on)
    out.add("dtend", on + timedelta(days=1))
    out.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    out.add("transp", "TRANSPARENT")  # a day on which something is due is not a busy day
    return out


def words(duty: Duty, seal: NewestSeal | None, fold: str) -> list[str]:
    out = [done(duty.done_on)] if duty.done_on else []
    out += [
        f"Window from {day(duty.window_opens_on)} to {day(duty.latest_on)}, "
        f"counted from {day(duty.counts_from)}.",
        f"Source: {duty.requirement.source}",
    ]
    if seal is not None:
        out.append(f"Newest seal of the site: number {seal.number}, {seal.digest}")
    return [*out, fold] if fold else out


def done(on: date) -> str:
    return f"Done on {day(on)}."
