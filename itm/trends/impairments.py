"""Systems out of service, from the first valve moved until the last one is back."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.figures import thin
from itm.records.models import RestorationLine, Visit
from itm.records.progress import out_of_service

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


def system_is_out() -> Exists:
    """For a query over systems: a line of one of its proportioners is out."""
    lines = RestorationLine.objects.filter(
        OUT, proportioner__system=OuterRef("pk"), visit__started_at__isnull=False,
        visit__restored_at=None,
    )  # fmt: skip
    return Exists(lines)


def site_is_out() -> Exists:
    """For a query over systems: a test day runs at their site and nobody said yet for which of
    them. Until it is said, each of them may be the one."""
    return Exists(
        Visit.objects.filter(
            site=OuterRef("site"),
            started_at__isnull=False,
            restored_at=None,
            restoration_lines=None,
        )
    )


def hours_out(visit: Visit, now: datetime) -> str:
    """Whole hours since the first valve moved."""
    lasted = out_of_service(visit, now)
    hours = int(lasted.total_seconds() // 3600) if lasted else 0
    return "1 hour" if hours == 1 else f"{thin(hours)} hours"
