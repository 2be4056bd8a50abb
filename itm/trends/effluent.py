"""What came out on a test day or in a year of a site, for the sheets that print it.

A line belongs to the year of its own day. What stands there at the end of a year is counted from
the first line on, since waste of December is hauled away in January.
"""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef

from itm.accounts.actor import Actor
from itm.records import effluent
from itm.records.effluent import AtLeast, Balance
from itm.records.models import EffluentLine, Visit
from itm.registry.models import Site, TankMovement
from itm.registry.queries import rinsed_at

MOST = 200  # lines named one by one; the sums hold all


@dataclass(frozen=True)
class OfDay:
    """Of one visit, the oldest line first; withdrawn ones stand with the others."""

    lines: tuple[EffluentLine, ...]
    balance: Balance
    at_least: AtLeast


@dataclass(frozen=True)
class OfYear:
    lines: tuple[EffluentLine, ...]  # the first `MOST`, the oldest first
    count: int
    balance: Balance  # of the year
    standing: Balance  # from the first line on until the end of the year
    silent: tuple[Visit, ...]  # test days begun in the year of which nothing stands
    days: int  # test days begun in the year
    rinsed: tuple[TankMovement, ...]  # drains of the year with rinse water, in no sum


def of_day(actor: Actor, visit: Visit) -> OfDay:
    lines = effluent.lines_of(actor, visit)
    return OfDay(tuple(reversed(lines)), effluent.balance(lines), effluent.at_least(actor, visit))


def of_year(actor: Actor, site: Site, year: int) -> OfYear:
    """In three queries."""
    zone = ZoneInfo(site.time_zone)
    begins, ends = datetime(year, 1, 1, tzinfo=zone), datetime(year + 1, 1, 1, tzinfo=zone)
    last = date(year, 12, 31)
    so_far = [one for one in effluent.lines_at(actor, site) if one.happened_on <= last]
    own = [one for one in reversed(so_far) if one.happened_on.year == year]
    noted = EffluentLine.objects.in_force().filter(visit=OuterRef("pk"))
    days = (
        Visit.objects.visible_to(actor)
        .filter(site=site, started_at__gte=begins, started_at__lt=ends)
        .annotate(noted=Exists(noted))
        .select_related("contractor", "site")
        .order_by("started_at", "pk")
    )
    found = list(days)
    return OfYear(
        lines=tuple(own[:MOST]),
        count=len(own),
        balance=effluent.balance(own),
        standing=effluent.balance(so_far),
        silent=tuple(one for one in found if not one.noted),
        days=len(found),
        rinsed=tuple(one for one in rinsed_at(actor, site) if one.moved_on.year == year),
    )
