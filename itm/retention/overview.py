"""What the pages show of keeping: over all sites, of one site by kind, and of one kind."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet

from itm.accounts.actor import Actor, require_kind, require_role
from itm.accounts.models import Membership
from itm.core.clock import date_at
from itm.registry.models import Attachment, Site
from itm.retention import letting
from itm.retention.gathering import Kept, Stored, gather
from itm.retention.letting import MOST, past
from itm.retention.models import KeepingPeriod, Kind
from itm.retention.periods import Freedom, Period, free_on, free_with
from itm.retention.setting import WHAT, in_force, own_sites, periods_at, require_keeper

KINDS = {str(value): str(label) for value, label in Kind.choices}


@dataclass(frozen=True)
class SiteRow:
    """`free`: files past their period of which nobody has decided anything."""

    site: Site
    periods: int
    free: int
    size: int
    unsaid: int
    waiting: int


@dataclass
class KindRow:
    """Of one kind at one site. `next_on`: the earliest day on which another file may go."""

    kind: Kind
    periods: list[str]
    records: int = 0
    records_past: int = 0
    files: int = 0
    free: int = 0
    size: int = 0
    held: dict[str, int] = field(default_factory=dict)
    next_on: date | None = None


def require_overview(actor: Actor) -> None:
    require_kind(actor, "owner", what=WHAT)
    require_role(actor, Membership.Role.SUPERVISOR, Membership.Role.MANAGER, what=WHAT)


def sites_of(actor: Actor) -> QuerySet[Site]:
    """The owner's, by name. Raises Forbidden."""
    require_overview(actor)
    return own_sites(actor).order_by("name", "pk")


def over_sites(actor: Actor, sites: Collection[Site], now: datetime) -> list[SiteRow]:
    """In a number of queries that grows with neither; sites without a period are not read."""
    require_overview(actor)
    keys = [site.pk for site in sites]
    periods = periods_at(keys)
    waiting: dict[int, int] = {}
    waits = letting.all_decisions(actor).filter(site__in=keys, stands="waits")
    for pk in waits.values_list("site", flat=True):
        waiting[pk] = waiting.get(pk, 0) + 1
    kept = gather([site for site in sites if periods[site.pk]])
    out = []
    for site in sites:
        free = _free(kept.get(site.pk), periods[site.pk], date_at(site.time_zone, now))
        unsaid = len(kept[site.pk].unsaid) if site.pk in kept else 0
        out.append(
            SiteRow(site, len(periods[site.pk]), len(free), sum(one.row.size for one in free),
                    unsaid, waiting.get(site.pk, 0))
        )  # fmt: skip
    return out


def _free(kept: Kept | None, periods: list[Period], today: date) -> list[Stored]:
    files = kept.files if kept else []
    return [
        one for one in files if not one.holds(today) and free_with(periods, one.things).by(today)
    ]


def at_site(actor: Actor, site: Site, now: datetime) -> tuple[list[KindRow], int]:
    """Its kinds in their order, and how many papers nobody has said anything of."""
    require_keeper(actor, site)
    today = date_at(site.time_zone, now)
    periods = periods_at([site.pk])[site.pk]
    kept = gather([site])[site.pk]
    rows = {
        kind: KindRow(kind, [one.label for one in periods if kind in one.kinds]) for kind in Kind
    }
    for thing in kept.records:
        row = rows[Kind(thing.kind)]
        row.records += 1
        row.records_past += free_on(periods, thing).by(today)
    for one in kept.files:
        _count(rows[Kind(one.kind)], one, free_with(periods, one.things), today)
    shown = [row for row in rows.values() if row.records or row.files or row.periods]
    return shown, len(kept.unsaid)


def _count(row: KindRow, one: Stored, freedom: Freedom, today: date) -> None:
    row.files += 1
    if not freedom.by(today):
        if freedom.day is not None:
            row.next_on = min(filter(None, (row.next_on, freedom.day)))
        return
    if why := one.holds(today):
        row.held[why] = row.held.get(why, 0) + 1
    else:
        row.free += 1
        row.size += one.row.size


def of_kind(
    actor: Actor, site: Site, kind: str, now: datetime
) -> tuple[list[tuple[Stored, Freedom]], int]:
    """Files that may be decided about today, of one kind or of all, those that could have gone
    longest first, as many as go at once; and how many there are."""
    require_keeper(actor, site)
    found = [
        (one, freedom)
        for one, freedom in past(site, date_at(site.time_zone, now))
        if kind in ("", one.kind)
    ]
    found.sort(key=lambda pair: (pair[1].day or date.max, pair[0].row.name, pair[0].row.pk))
    return found[:MOST], len(found)


def loose_at(actor: Actor, site: Site) -> list[tuple[Attachment, str]]:
    """Files that belong to no record, those first of which nothing is said."""
    require_keeper(actor, site)
    rows = gather([site])[site.pk].loose
    return sorted(rows, key=lambda pair: (bool(pair[1]), pair[0].name, pair[0].pk))[:MOST]


def periods_of(actor: Actor, site: Site) -> tuple[list[KeepingPeriod], list[KeepingPeriod]]:
    """Those that hold, and those that were ended, the last first."""
    require_keeper(actor, site)
    over = KeepingPeriod.objects.visible_to(actor).filter(site=site).exclude(ended_on=None)
    return list(in_force([site.pk])), list(over.select_related("rule").order_by("-ended_on", "-pk"))


def all_periods(actor: Actor) -> QuerySet[KeepingPeriod]:
    """At all sites of the owner, those too that were ended. Raises Forbidden."""
    require_overview(actor)
    return KeepingPeriod.objects.visible_to(actor).select_related("site", "rule")


def all_decisions(actor: Actor) -> QuerySet[Any]:
    """At all sites of the owner. Raises Forbidden."""
    require_overview(actor)
    return letting.all_decisions(actor)
