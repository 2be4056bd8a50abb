"""Systems out of service, from the first valve moved until the last one is back."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Prefetch, Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.figures import thin
from itm.records.models import RestorationLine, Visit
from itm.records.progress import out_of_service
from itm.registry.models import FoamSystem

# A line is out while nobody ended it, or while it was left out and no later line follows it.
OUT = Q(outcome="") | Q(outcome="left_out", followed_by=None)


def impairments(actor: Actor) -> QuerySet[Visit]:
    """Started visits whose restoring is not at its end, lines left out of service included."""
    return Visit.objects.visible_to(actor).filter(started_at__isnull=False, restored_at=None)


def visits_with_what_is_out(visits: Iterable[int]) -> dict[int, Visit]:
    """Visits by primary key, each with its lines that are out in `out`; two queries."""
    lines = RestorationLine.objects.filter(OUT).select_related("proportioner__system")
    rows = Visit.objects.filter(pk__in=list(visits)).select_related("site", "contractor")
    rows = rows.prefetch_related(Prefetch("restoration_lines", lines, to_attr="out"))
    return {row.pk: row for row in rows}


def systems_out(actor: Actor) -> set[int]:
    """Primary keys of the systems that are out: a line of one of their proportioners is, or a test
    day runs at their site and nobody said yet for which of them. Until it is said, each of them may
    be the one."""
    visits = impairments(actor)
    lines = RestorationLine.objects.filter(OUT, visit__in=visits)
    unsaid = visits.filter(restoration_lines=None)
    systems = FoamSystem.objects.filter(site__in=unsaid.order_by().values("site"))
    of_lines = lines.order_by().values_list("proportioner__system", flat=True)
    return set(of_lines.union(systems.order_by().values_list("pk", flat=True)))


def hours_out(visit: Visit, now: datetime) -> str:
    """Whole hours since the first valve moved."""
    lasted = out_of_service(visit, now)
    hours = int(lasted.total_seconds() // 3600) if lasted else 0
    return "1 hour" if hours == 1 else f"{thin(hours)} hours"
