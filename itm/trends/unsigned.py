"""Results that were handed in and that nobody has signed for long: that they wait and since when,
and nothing of what they say, which is told with the signature."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.records.models import ConcentrateCheck, ProportioningTest, Record, Visit
from itm.registry.models import Site

WAITS = timedelta(days=14)  # own choice


def waiting(rows: QuerySet[Any], now: datetime) -> QuerySet[Any]:
    return rows.filter(state="handed_in", handed_in_at__lte=now - WAITS)


def tests_told(actor: Actor) -> QuerySet[Any]:
    """Of every test day that the reader sees, whether or not the result may be read yet."""
    rows = ProportioningTest.objects.filter(visit__in=Visit.objects.visible_to(actor))
    return rows.select_related("site", "visit__contractor", "proportioner__system")


def checks_told(actor: Actor) -> QuerySet[Any]:
    """At the sites of an owner or an authority; anybody else is told of the own ones alone."""
    if actor.kind in ("owner", "authority"):
        rows = ConcentrateCheck.objects.filter(site__in=Site.objects.visible_to(actor))
    else:
        rows = ConcentrateCheck.objects.visible_to(actor)
    return rows.select_related("site", "tank", "organisation")


def unsigned_tests(actor: Actor, now: datetime) -> QuerySet[Any]:
    return waiting(tests_told(actor), now)


def unsigned_checks(actor: Actor, now: datetime) -> QuerySet[Any]:
    return waiting(checks_told(actor), now)


@dataclass(frozen=True)
class Place:
    """Where one of them stands; `page` and `key` lead to what the reader may open."""

    site: str
    where: str
    who: str
    page: str
    key: UUID


def place(row: Record, actor: Actor) -> Place:
    sealed_only = actor.kind == "authority"
    if isinstance(row, ProportioningTest):
        where = f"{row.proportioner.system.name}, {row.proportioner.tag}"
        page, key = ("visit", row.visit.key) if sealed_only else ("test", row.key)
        return Place(row.site.name, where, row.visit.contractor.name, page, key)
    page, key = ("site", row.site.key) if sealed_only else ("check", row.key)
    return Place(row.site.name, f"tank {row.tank.tag}", row.organisation.name, page, key)


@dataclass(frozen=True)
class Unsigned:
    """One of them, without any figure of it."""

    what: str
    place: Place
    since: date
    days: int

    @property
    def words(self) -> str:
        return f"not signed for {self.days} days"


def unsigned(row: Record, now: datetime, actor: Actor) -> Unsigned:
    since = handed_in_on(row)
    kind = "Proportioning test" if isinstance(row, ProportioningTest) else "Concentrate check"
    days = (date_at(row.site.time_zone, now) - since).days
    return Unsigned(f"{kind} handed in, not signed", place(row, actor), since, days)


def handed_in_on(row: Record) -> date:
    """On the clock of its site."""
    if row.handed_in_at is None:
        raise LookupError("Only what was handed in waits for a signature.")
    return date_at(row.site.time_zone, row.handed_in_at)


def all_unsigned(actor: Actor, now: datetime, most: int) -> list[Unsigned]:
    """Both kinds, the longest first."""
    rows: list[Any] = [
        *unsigned_tests(actor, now).order_by("handed_in_at", "pk")[:most],
        *unsigned_checks(actor, now).order_by("handed_in_at", "pk")[:most],
    ]
    rows.sort(key=lambda row: row.handed_in_at)
    return [unsigned(row, now, actor) for row in rows[:most]]
