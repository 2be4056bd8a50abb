"""Systems out of service, as the lists show them."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from itm.accounts.actor import Actor
from itm.findings.models import ClockAdoption, ImpairedSystem, Impairment
from itm.records.models import RestorationLine
from itm.records.restoration import OUT


def impairments(actor: Actor) -> QuerySet[Impairment]:
    """Those that last, lines left out of service after a test included."""
    rows = Impairment.objects.visible_to(actor)
    return rows.filter(ended_at=None, taken_back_at=None)


def with_what_is_out(impairments: Iterable[int]) -> dict[int, Any]:
    """By primary key, each with the systems not back yet in `out`, and in `left` its lines left
    out of service, where it has any. `clocked` says whether a notice clock holds at its site."""
    systems = ImpairedSystem.objects.filter(back_at=None).select_related("system")
    left = RestorationLine.objects.filter(OUT, outcome="left_out")
    rows: QuerySet[Any] = Impairment.objects.filter(pk__in=list(impairments)).annotate(
        leaves=Exists(left.filter(visit=OuterRef("visit"))),
        clocked=Exists(ClockAdoption.objects.filter(site=OuterRef("site"))),
    )
    rows = rows.select_related("site", "visit__contractor", "organisation")
    found = list(rows.prefetch_related(Prefetch("systems", systems, to_attr="out")))
    by_visit: dict[int, list[RestorationLine]] = {}
    visits = [row.visit_id for row in found if row.leaves]
    for line in left.filter(visit__in=visits) if visits else ():
        by_visit.setdefault(line.visit_id, []).append(line)
    for row in found:
        row.left = by_visit.get(row.visit_id, [])
    return {row.pk: row for row in found}


def systems_out(actor: Actor) -> set[int]:
    """Primary keys of the systems that are out today."""
    rows = ImpairedSystem.objects.filter(back_at=None, impairment__in=impairments(actor))
    return set(rows.order_by().values_list("system", flat=True))
