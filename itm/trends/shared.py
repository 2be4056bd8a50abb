"""What a link opens: where sites stand, what is wrong there, and their sealed records."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, QuerySet

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.findings import queries as findings
from itm.findings.models import Deficiency, Impairment
from itm.records import check_queries, queries
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.records.results import with_corrections
from itm.registry import queries as registry
from itm.registry.models import Site
from itm.schedule.due import Standing
from itm.schedule.models import Duty
from itm.schedule.queries import open_duties, standing_of
from itm.schedule.told import READ, told

MOST = 200  # lines of each kind on the page of a site; own choice
LATE = ("overdue", "due")


@dataclass(frozen=True)
class SiteLine:
    site: Site
    overdue: int
    due: int
    wrong: int
    out: int


def site_lines(actor: Actor) -> list[SiteLine]:
    """All sites of the link by name, in four queries."""
    sites = Site.objects.visible_to(actor).order_by("name", "pk")
    duties = open_duties(actor).filter(stands__in=LATE).order_by()
    late = {
        (row["site"], row["stands"]): row["n"]
        for row in duties.values("site", "stands").annotate(n=Count("pk"))
    }
    wrong, out = (
        {
            row["site"]: row["n"]
            for row in model.objects.visible_to(actor)
            .order_by().values("site").annotate(n=Count("pk"))
        }
        for model in (Deficiency, Impairment)
    )  # fmt: skip
    return [
        SiteLine(
            site, late.get((site.pk, "overdue"), 0), late.get((site.pk, "due"), 0),
            wrong.get(site.pk, 0), out.get(site.pk, 0),
        )
        for site in sites
    ]  # fmt: skip


@dataclass(frozen=True)
class Due:
    what: str
    where: str
    stands: Standing
    row: Duty


@dataclass(frozen=True)
class Wrong:
    row: Any
    where: str
    days: int


@dataclass(frozen=True)
class Out:
    """Systems out of service, and why. Who sees to it is for those who work there."""

    systems: str
    since: datetime
    why: str


@dataclass(frozen=True)
class SitePage:
    """Each list holds one line more than is shown where there is more."""

    site: Site
    due: list[Due]
    wrong: list[Wrong]
    out: list[Out]
    tests: QuerySet[ProportioningTest]
    checks: QuerySet[ConcentrateCheck]


def site_page(actor: Actor, key: UUID, now: datetime) -> SitePage:
    """Raises NotFound for a site that the link does not open."""
    site = registry.site(actor, key)
    duties = open_duties(actor).filter(site=site).select_related(*READ)
    today = date_at(site.time_zone, now)
    tests = queries.tests(actor).filter(site=site)
    checks = check_queries.checks(actor).filter(site=site)
    return SitePage(
        site=site,
        due=[_due(row, now) for row in duties.order_by("due_on", "pk")[:MOST]],
        wrong=[
            Wrong(row, findings.where(row), findings.days_open(row, today))
            for row in findings.open_at(actor, site)
        ],
        tests=with_corrections(tests).order_by("-tested_on", "-pk")[:MOST],
        checks=with_corrections(checks).order_by("-checked_on", "-pk")[:MOST],
        out=[
            _out(row)
            for row in Impairment.objects.visible_to(actor)
            .filter(site=site)
            .select_related("visit")
            .prefetch_related("systems__system")
            .order_by("started_at")
        ],
    )


def _out(row: Impairment) -> Out:
    gone = [str(one) for one in row.systems.all() if one.back_at is None]
    return Out(", ".join(gone), row.started_at, row.why)


def _due(row: Duty, now: datetime) -> Due:
    said = told(row)
    return Due(said.what, said.where, standing_of(row, now), row)
