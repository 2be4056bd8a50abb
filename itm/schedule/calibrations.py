"""Calibrations of instruments as things to do.

An instrument stands at no site, so what is due of it is no duty of one: it follows from the
certificates, for the organisation that keeps the instrument, and nothing of it is stored. One
without any certificate is due, with no day that a calendar could hold.
"""

from collections import Counter
from datetime import date, datetime, timedelta

from django.db.models import DateField, Q, QuerySet, Value

from itm.accounts.actor import Actor
from itm.core.clock import LAST_TO_BEGIN, date_at
from itm.registry.models import Certificate, Instrument
from itm.registry.queries import certificates_in_force, instruments_without_certificate
from itm.schedule.due import Standing, standing

# A laboratory keeps an instrument for weeks and is asked for a date before that: own choice, no
# source.
OPENS = timedelta(days=60)
DUE = timedelta(days=30)


def day_of(now: datetime) -> date:
    """No calibration is called late before its last day is over everywhere: who keeps it has no
    clock of its own."""
    return date_at(LAST_TO_BEGIN, now)


def calibrations(actor: Actor, now: datetime) -> QuerySet[Certificate]:
    """Certificates in force that say when the next is due, of instruments in use. Only contractors
    keep instruments; the others are spared the look."""
    if actor.kind != "contractor":
        return Certificate.objects.none()
    rows = certificates_in_force(actor, day_of(now))
    return rows.filter(due_on__isnull=False, instrument__retired_on=None)


def not_on_record(actor: Actor, now: datetime) -> QuerySet[Instrument]:
    """Own instruments in use of which nobody knows when they were calibrated, by name."""
    if actor.kind != "contractor":
        return Instrument.objects.none()
    return instruments_without_certificate(actor, day_of(now)).order_by("name", "pk")


def standing_of(row: Certificate, now: datetime) -> Standing:
    """By the day that the certificate gives; that day itself still counts."""
    if row.due_on is None:
        raise LookupError("`calibrations` leaves out what has no day.")
    return _by_day(row.due_on, now)


def _by_day(on: date, now: datetime) -> Standing:
    return standing(on - OPENS, on - DUE, on, day_of(now))


def by_standing(actor: Actor, now: datetime) -> dict[str, QuerySet[Certificate]]:
    """The rows as `standing_of` names them, told by their dates alone; those ahead are left out."""
    if actor.kind != "contractor":
        return {}
    rows, today = calibrations(actor, now), day_of(now)
    return {
        "overdue": rows.filter(due_on__lt=today),
        "due": rows.filter(due_on__range=(today, today + DUE)),
        "open": rows.filter(due_on__gt=today + DUE, due_on__lte=today + OPENS),
    }


def to_do(actor: Actor, now: datetime) -> QuerySet[Certificate]:
    """Everything of them that is not ahead, the worst first."""
    rows = calibrations(actor, now).filter(due_on__lte=day_of(now) + OPENS)
    return rows.select_related("instrument").order_by("due_on", "pk")


def counted(actor: Actor, now: datetime, most: int) -> Counter[str]:
    """How many of each standing, in one query; never more than one beyond `most`."""
    if actor.kind != "contractor":
        return Counter()
    days = to_do(actor, now).order_by().values_list("due_on")
    none = not_on_record(actor, now).order_by().values_list(Value(None, DateField()))
    found = days.union(none, all=True)[: most + 1]
    return Counter("due" if on is None else _by_day(on, now).name for (on,) in found)


def ahead(actor: Actor, now: datetime, last: date) -> QuerySet[Certificate]:
    """Not due yet, with a day up to `last`."""
    rows = calibrations(actor, now).filter(due_on__gt=day_of(now) + DUE, due_on__lte=last)
    return rows.select_related("instrument").order_by("due_on", "pk")


def told_lately(
    actor: Actor, now: datetime, *, ahead: timedelta, behind: timedelta
) -> QuerySet[Certificate]:  # fmt: skip
    """For a calendar: those in force up to so far ahead, and what took their place or was
    withdrawn while a calendar may still show its day. `in_force` says which is which."""
    today = day_of(now)
    if actor.kind != "contractor":
        return Certificate.objects.none()
    rows = Certificate.objects.visible_to(actor).filter(due_on__lte=today + ahead)
    in_force = Q(pk__in=calibrations(actor, now).values("pk"))
    rows = rows.filter(in_force | Q(due_on__gte=today - behind))
    return rows.annotate(in_force=in_force).select_related("instrument").order_by("due_on", "pk")
