"""Effluent of many sites until a day: sums by PFAS status, and what was hauled away on which paper.

Sums are the database's, because an authority may see thousands of lines; they are the same litres
as those of `effluent.balance`.
"""

import math
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Sum

from itm.accounts.actor import Actor
from itm.records.effluent import Balance, Kind, Pfas
from itm.records.models import EffluentLine
from itm.registry.models import Site

WORST_FIRST = (Pfas.CONTAINS, Pfas.UNKNOWN, Pfas.FREE)


@dataclass(frozen=True)
class AtSite:
    """All of one site until the day. A status that nobody noted has no line."""

    site: Site
    by_status: tuple[tuple[str, Balance], ...]
    whole: Balance


@dataclass(frozen=True)
class Hauled:
    """What went away, the newest first; `count` is of all, `lines` are the first of them."""

    lines: tuple[EffluentLine, ...]
    count: int


def by_site(actor: Actor, until: date) -> list[AtSite]:
    """By owner and name, in two queries; sites of which nothing is noted by then are left out."""
    rows = EffluentLine.objects.visible_to(actor).in_force().filter(happened_on__lte=until)
    sums = rows.order_by().values("site_id", "pfas", "kind").annotate(volume=Sum("volume"))
    found: dict[int, list[Any]] = {}
    for one in sums:
        found.setdefault(one["site_id"], []).append(one)
    sites = Site.objects.visible_to(actor).filter(pk__in=[*found]).select_related("owner")
    return [
        AtSite(
            site=site,
            by_status=tuple(
                (str(status.label), _balance(some))
                for status in WORST_FIRST
                if (some := [one for one in found[site.pk] if one["pfas"] == status])
            ),
            whole=_balance(found[site.pk]),
        )
        for site in sites.order_by("owner__name", "owner_id", "name", "pk")
    ]


def _balance(sums: list[Any]) -> Balance:
    volumes = {
        kind: math.fsum(one["volume"] for one in sums if one["kind"] == kind)
        for kind in Kind.values
    }
    return Balance(**volumes, noted=frozenset(one["kind"] for one in sums))


def hauled(actor: Actor, until: date, most: int) -> Hauled:
    rows = EffluentLine.objects.visible_to(actor).in_force()
    rows = rows.filter(kind=Kind.HAULED, happened_on__lte=until)
    found = tuple(rows.select_related("site__owner", "organisation")[:most])
    return Hauled(found, len(found) if len(found) < most else rows.count())
