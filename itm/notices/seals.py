"""The newest seal of each site: a copy that lies elsewhere proves a chain that was rewritten."""

from collections.abc import Set
from dataclasses import dataclass

from django.db.models import Max, Q

from itm.accounts.actor import Actor
from itm.records.models import Seal

MOST = 30  # sites in one mail
LOOKED_AT = 300  # seals, of which several may be of one site


@dataclass(frozen=True)
class NewestSeal:
    site: str
    number: int
    digest: str


def lately_sealed(actor: Actor) -> set[int]:
    """Sites where something was sealed last, as many as a mail can name; primary keys."""
    rows = Seal.objects.visible_to(actor).order_by("-pk").values_list("site", flat=True)
    return set(list(dict.fromkeys(rows[:LOOKED_AT]))[:MOST])


def newest_seals(actor: Actor, sites: Set[int]) -> dict[int, NewestSeal]:
    """By the site's primary key, the newest that the reader sees; two queries."""
    own = Seal.objects.visible_to(actor).filter(site__in=sites)
    numbers = own.values("site").annotate(newest=Max("number"))
    newest = Q(pk__in=[])
    for row in numbers.order_by("site"):
        newest |= Q(site=row["site"], number=row["newest"])
    rows = Seal.objects.filter(newest).select_related("site").order_by("site__name", "pk")
    return {row.site_id: NewestSeal(row.site.name, row.number, row.digest) for row in rows}
