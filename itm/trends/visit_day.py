"""One visit as one report: the day, what was out of service, each record of it, and who signed.

It points at records and is none: every sealed one has its own report and its own digest. A check
has no visit, so those stand here that the same crew sampled at the site on the days of the visit.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, Q

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.findings.models import Impairment, Step
from itm.findings.on_paper import Out, Wrong, out_lines, wrong_lines
from itm.findings.queries import all_deficiencies, all_impairments
from itm.records import check_queries, queries
from itm.records.models import (
    ConcentrateCheck,
    Inspection,
    InspectionLine,
    ProportioningTest,
    RestorationLine,
    Seal,
    Visit,
)
from itm.records.models.kept import LINKS
from itm.records.progress import left_out, out_of_service
from itm.trends.effluent import OfDay, of_day
from itm.trends.latest import FlowPointResult, State, results_of

SIGNED_OR_WAITING = (State.HANDED_IN, State.SEALED)


@dataclass(frozen=True)
class Line:
    """One record of the visit. `corrected_by` is the number of the sealed record that stands in its
    place; of a test that nobody handed in there are no flow points."""

    record: Any  # ProportioningTest or ConcentrateCheck
    seal: Seal | None
    flow_points: tuple[FlowPointResult, ...] = ()
    corrected_by: int | None = None


@dataclass(frozen=True)
class VisitDay:
    visit: Visit
    out_for: timedelta | None
    out: Out | None  # the impairment that the start of the day opened
    tests: tuple[Line, ...]
    checks: tuple[Line, ...]
    inspections: tuple[Inspection, ...]
    restored: Counter[str]  # lines of the restoration list by how they ended
    left_out: tuple[RestorationLine, ...]
    wrong: tuple[Wrong, ...]  # opened, found again or closed by something of the visit
    photos: Counter[str]  # by what they show
    effluent: OfDay | None  # of a day that has begun

    @property
    def sealed(self) -> list[Line]:
        """In the order of the chain."""
        found = [one for one in (*self.tests, *self.checks) if one.seal is not None]
        return sorted(found, key=lambda one: one.seal.number if one.seal else 0)

    @property
    def unsigned(self) -> list[Line]:
        return [one for one in (*self.tests, *self.checks) if one.record.state == State.HANDED_IN]

    @property
    def unfinished(self) -> list[Line]:
        return [one for one in (*self.tests, *self.checks) if one.record.state == State.DRAFT]


def visit_day(actor: Actor, key: UUID, now: datetime) -> VisitDay:
    """In a number of queries that does not grow. Raises NotFound for a visit not to be seen."""
    visit = queries.visit(actor, key)
    tests = _tests(actor, visit)
    checks = _checks(actor, visit)
    restoration = list(visit.restoration_lines.all())
    return VisitDay(
        visit=visit,
        out_for=out_of_service(visit, now),
        out=_out(actor, visit, now),
        tests=tests,
        checks=checks,
        inspections=_inspections(actor, visit),
        restored=Counter(line.get_outcome_display() for line in restoration),
        left_out=tuple(left_out(visit)),
        wrong=_wrong(actor, visit, [one.record.pk for one in checks]),
        photos=Counter(_shows(photo) for photo in queries.photos(actor, visit)),
        effluent=of_day(actor, visit) if visit.started_at else None,
    )


def days_of(visit: Visit) -> tuple[date, date]:
    """From its planned day or its start, whichever was first, to its last."""
    zone = visit.site.time_zone
    days = [visit.planned_on]
    days += [date_at(zone, at) for at in (visit.started_at, visit.restored_at) if at is not None]
    return min(days), max(days)


def _tests(actor: Actor, visit: Visit) -> tuple[Line, ...]:
    rows = list(
        queries.tests(actor)
        .filter(visit=visit)
        .exclude(state=State.ABANDONED)
        .select_related("seal", "handed_in_by")
        .order_by("proportioner__system__name", "proportioner__tag", "phase", "pk")
    )
    results = results_of(row.pk for row in rows if row.state in SIGNED_OR_WAITING)
    later = _corrections(ProportioningTest, rows)
    return tuple(
        Line(row, getattr(row, "seal", None), results.get(row.pk, ()), later.get(row.pk))
        for row in rows
    )


def _checks(actor: Actor, visit: Visit) -> tuple[Line, ...]:
    rows = list(
        check_queries.checks(actor)
        .filter(
            site=visit.site_id, organisation=visit.contractor_id, checked_on__range=days_of(visit)
        )
        .exclude(state=State.ABANDONED)
        .select_related("seal", "handed_in_by")
        .order_by("tank__tag", "pk")
    )
    later = _corrections(ConcentrateCheck, rows)
    return tuple(
        Line(row, getattr(row, "seal", None), corrected_by=later.get(row.pk)) for row in rows
    )


def _corrections(
    model: type[ProportioningTest] | type[ConcentrateCheck], rows: list[Any]
) -> dict[int, int]:
    """By record, the number of the sealed one that corrects it, whoever made that."""
    link = LINKS[model]
    seals = Seal.objects.filter(**{f"{link}__amends__in": [row.pk for row in rows]})
    return dict(seals.order_by("number").values_list(f"{link}__amends_id", "number"))


def _inspections(actor: Actor, visit: Visit) -> tuple[Inspection, ...]:
    lines = InspectionLine.objects.select_related("corrected_by").order_by("pk")
    rows = Inspection.objects.visible_to(actor).filter(visit=visit)
    return tuple(rows.prefetch_related(Prefetch("lines", lines)).order_by("done_on", "pk"))


def _out(actor: Actor, visit: Visit, now: datetime) -> Out | None:
    rows: list[Impairment] = list(all_impairments(actor).filter(visit=visit, taken_back_at=None))
    found = out_lines(rows, now)
    return found[0] if found else None


def _wrong(actor: Actor, visit: Visit, checks: list[int]) -> tuple[Wrong, ...]:
    steps = Step.objects.filter(
        Q(test__visit=visit)
        | Q(concentrate_check__in=checks)
        | Q(inspection_line__inspection__visit=visit)
        | Q(restoration_line__visit=visit)
    )
    opened = Q(test__visit=visit) | Q(restoration_line__visit=visit)
    opened |= Q(concentrate_check__in=checks) | Q(inspection_line__inspection__visit=visit)
    named = opened | Q(pk__in=steps.exclude(deficiency=None).values("deficiency"))
    rows = all_deficiencies(actor).filter(named, site=visit.site_id)
    return tuple(wrong_lines(list(rows.order_by("severity", "opened_at", "pk"))))


def _shows(photo: Any) -> str:
    if photo.reading_id is not None:
        return "of readings"
    if photo.run_id is not None:
        return "of flow points"
    return "of the restoration list" if photo.line_id is not None else "of the test day"
