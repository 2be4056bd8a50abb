"""Everything that an authority looks after on one sheet, from the same rows as its pages.

Results are those of sealed records; a deficiency, an impairment and a duty are seen from the moment
they exist (`visible_to`). Counts hold everything; what is named one by one is bounded.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, QuerySet

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.errors import Forbidden
from itm.core.figures import day
from itm.findings import queries as findings
from itm.findings.models import Deficiency, Impairment, Order
from itm.findings.on_paper import Out, Totals, Wrong, out_lines, totals, wrong_lines
from itm.registry.finding import Wanted
from itm.registry.models import FoamSystem, Site
from itm.schedule.models import Duty
from itm.schedule.queries import asked, listed_duties, standing_of
from itm.schedule.told import told
from itm.trends.systems import STANDINGS, Scope, SystemRow, branches, with_devices
from itm.trends.unsigned import Unsigned, all_unsigned, unsigned_checks, unsigned_tests

MOST = 200  # of each kind, named one by one on paper; own choice
PART = 1000  # systems looked at together: their keys go along in each query
WORST = ("impaired", "wrong", "outside", "undecided", "overdue")  # systems that the sheet names
Severity = Deficiency.Severity


@dataclass(frozen=True)
class SiteLine:
    """What stands how at one site."""

    site: Site
    systems: Counter[str]  # by standing
    overdue: int
    wrong: Counter[int]  # open deficiencies by class
    out: int
    orders: int
    unsigned: int

    @property
    def rank(self) -> tuple[int, ...]:
        """The worst first."""
        standings = (-self.systems[name] for name in STANDINGS)
        classes = (-self.wrong[value] for value in Severity.values)
        return (-self.out, *standings, *classes, -self.overdue, -self.orders)


@dataclass(frozen=True)
class Late:
    what: str
    where: str
    words: str  # how late
    duty: Duty


@dataclass(frozen=True)
class Jurisdiction:
    sites: tuple[SiteLine, ...]  # all, the worst first
    systems: tuple[SystemRow, ...]
    late: tuple[Late, ...]
    late_count: int
    wrong: tuple[Wrong, ...]
    totals: Totals
    out: tuple[Out, ...]
    out_count: int
    orders: tuple[Order, ...]
    orders_count: int
    unsigned: tuple[Unsigned, ...]
    unsigned_count: int

    @property
    def standings(self) -> Counter[str]:
        return sum((line.systems for line in self.sites), Counter[str]())

    @property
    def worst_count(self) -> int:
        """Systems of which the sheet names the first."""
        return sum(self.standings[name] for name in WORST)


def require_authority(actor: Actor) -> None:
    """Raises Forbidden."""
    if actor.kind != Organisation.Kind.AUTHORITY:
        raise Forbidden("Only an authority has a jurisdiction that can stand on one sheet.")


def jurisdiction(actor: Actor, now: datetime) -> Jurisdiction:
    """In a number of queries that does not grow. Raises Forbidden for anybody but an authority."""
    require_authority(actor)
    stands = standings(actor)
    late = listed_duties(actor, "overdue", {})
    wrong = findings.deficiencies(actor, Wanted(narrow={"stands": "open"}))
    out = findings.impairments(actor, Wanted(narrow={"stands": "open"}))
    orders = findings.orders(actor, Wanted(narrow={"stands": "open"}))
    worst = [(key, name) for key, name in stands.items() if name in WORST][:MOST]
    return Jurisdiction(
        sites=site_lines(actor, stands, now),
        systems=tuple(with_devices(worst, now)),
        late=tuple(late_lines(late.order_by("latest_on", "pk")[:MOST], now)),
        late_count=late.order_by().count(),
        wrong=tuple(wrong_lines(list(wrong[:MOST]))),
        totals=totals(wrong),
        out=tuple(out_lines(list(out[:MOST]), now)),
        out_count=out.order_by().count(),
        orders=tuple(orders[:MOST]),
        orders_count=orders.order_by().count(),
        unsigned=tuple(all_unsigned(actor, now, MOST)),
        unsigned_count=unsigned_tests(actor, now).order_by().count()
        + unsigned_checks(actor, now).order_by().count(),
    )


def standings(actor: Actor) -> dict[int, str]:
    """Every system by primary key, the worst first; of each standing the list's own query."""
    found: dict[int, str] = {}
    for name, keys in branches(Scope.of(actor, "")):
        for key in keys:
            found.setdefault(key, name)
    return found


def site_lines(actor: Actor, stands: dict[int, str], now: datetime) -> tuple[SiteLine, ...]:
    sites = Site.objects.visible_to(actor).filter(retired_on=None).select_related("owner")
    by_site: dict[int, Counter[str]] = {}
    systems = FoamSystem.objects.visible_to(actor).order_by().values_list("pk", "site_id")
    for key, site in systems:
        if key in stands:
            by_site.setdefault(site, Counter())[stands[key]] += 1
    wrong: dict[int, Counter[int]] = {}
    rows = Deficiency.objects.visible_to(actor).filter(closed_at=None).order_by()
    for one in rows.values("site", "severity").annotate(count=Count("pk")):
        wrong.setdefault(one["site"], Counter())[one["severity"]] = one["count"]
    overdue = _at_sites(asked(Duty.objects.visible_to(actor)).filter(stands="overdue"))
    out = _at_sites(Impairment.objects.visible_to(actor).filter(ended_at=None, taken_back_at=None))
    orders = _at_sites(Order.objects.visible_to(actor).filter(Order.OPEN))
    unsigned = Counter(_at_sites(unsigned_tests(actor, now)))
    unsigned.update(_at_sites(unsigned_checks(actor, now)))
    lines = [
        SiteLine(
            site, by_site.get(site.pk, Counter()), overdue.get(site.pk, 0),
            wrong.get(site.pk, Counter()), out.get(site.pk, 0), orders.get(site.pk, 0),
            unsigned[site.pk],
        )
        for site in sites.order_by("name", "pk")
    ]  # fmt: skip
    return tuple(sorted(lines, key=lambda line: line.rank))


def _at_sites(rows: QuerySet[Any]) -> dict[int, int]:
    counted = rows.order_by().values("site").annotate(count=Count("pk"))
    return {one["site"]: one["count"] for one in counted}


def late_lines(duties: Iterable[Duty], now: datetime) -> list[Late]:
    out = []
    for duty in duties:
        said = told(duty)
        out.append(Late(said.what, said.where, standing_of(duty, now).words, duty))
    return out


# Tables to take along -----------------------------------------------------------------------------

SITES_HEAD = (
    "Site", "Owner", "Country", "Systems", *STANDINGS.values(), "Duties overdue",
    *(f"{label}, open" for label in Severity.labels), "Out of service", "Orders open",
    "Results not signed for long",
)  # fmt: skip
SYSTEMS_HEAD = (
    "System", "Site", "Owner", "Standing", "Deficiencies open", "Proportioner", "Out of service",
    "Latest test", "Limits", "Certainty", "Results, %", "Test", "Test again", "Concentrate check",
)  # fmt: skip
Cells = list[str | int | float | None]


def sites_table(actor: Actor, now: datetime) -> list[Cells]:
    """One row a site, the worst first. Raises Forbidden."""
    require_authority(actor)
    return [
        [
            line.site.name, line.site.owner.name, line.site.country, line.systems.total(),
            *(line.systems[name] for name in STANDINGS), line.overdue,
            *(line.wrong[value] for value in Severity.values), line.out, line.orders,
            line.unsigned,
        ]
        for line in site_lines(actor, standings(actor), now)
    ]  # fmt: skip


def systems_table(actor: Actor, now: datetime) -> list[Cells]:
    """One row a proportioner, systems without one have a row too, the worst first. Raises
    Forbidden."""
    require_authority(actor)
    found = list(standings(actor).items())
    parts = (found[at : at + PART] for at in range(0, len(found), PART))
    return [
        cells for part in parts for row in with_devices(part, now) for cells in system_cells(row)
    ]


def system_cells(row: SystemRow) -> Sequence[Cells]:
    site = row.system.site
    place: Cells = [row.system.name, site.name, site.owner.name, row.words, row.wrong_words]
    if not row.devices:
        return [[*place, "", *[""] * 8]]
    out: list[Cells] = []
    for device in row.devices:
        latest = device.latest
        out.append([
            *place,
            device.proportioner.tag,
            "yes" if device.out else "no",
            day(latest.test.tested_on) if latest else "no result yet",
            latest.test.limits if latest else "",
            latest.test.certainty if latest else "",
            "; ".join(f"{figure} at {name}" for name, figure in latest.figures) if latest else "",
            device.test.words if device.test else "",
            device.retest.words if device.retest else "",
            device.check.words if device.check else "",
        ])  # fmt: skip
    return out
