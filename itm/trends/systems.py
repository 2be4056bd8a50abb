"""The inspector's list: every system of the jurisdiction by standing, worst first."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Case, CharField, Exists, OuterRef, Q, QuerySet, Subquery, Value, When

from itm.accounts.actor import Actor
from itm.registry.models import FoamSystem, Proportioner
from itm.schedule.models import Duty, Requirement
from itm.schedule.queries import asked
from itm.trends.devices import DeviceRow, device_rows
from itm.trends.impairments import site_is_out, system_is_out
from itm.trends.latest import latest_of

PAGE = 50
# Worst first. The letter orders the rows and never leaves this module. The concentrate check
# stands in a column of its own and inspections in the list of next things: they move no system.
STANDINGS = {
    "impaired": "Out of service",
    "outside": "Lean or rich",
    "undecided": "Undecided",
    "overdue": "Overdue",
    "due": "Due",
    "open": "Window open",
    "ahead": "Ahead",
    "none": "No duty yet",
}
ORDER = {name: chr(ord("a") + place) for place, name in enumerate(STANDINGS)}
NAMES = {letter: name for name, letter in ORDER.items()}


@dataclass(frozen=True)
class SystemRow:
    system: FoamSystem
    stands: str  # one of STANDINGS
    words: str
    devices: list[DeviceRow]


def systems(
    actor: Actor, now: datetime, *, site: str = "", stands: str = "", page: str | int = 1
) -> Page[SystemRow]:
    """A page in a fixed number of queries. `site` is part of a site's name; `stands` one of
    STANDINGS, anything else means all."""
    rows = ranked(actor)
    if site:
        rows = rows.filter(site__name__icontains=site)
    if stands in ORDER:
        rows = rows.filter(place=ORDER[stands])
    rows = rows.select_related("site__owner").order_by("place", "site__name", "name", "pk")
    found: Any = Paginator(rows, PAGE).get_page(page)
    found.object_list = with_devices(list(found.object_list), now)
    return found


def ranked(actor: Actor) -> QuerySet[Any]:
    rows = FoamSystem.objects.visible_to(actor).filter(retired_on=None, site__retired_on=None)
    devices = Proportioner.objects.filter(system=OuterRef("pk"), retired_on=None)
    judged = devices.annotate(
        limits=Subquery(latest_of("pk").values("limits")[:1]),
        certainty=Subquery(latest_of("pk").values("certainty")[:1]),
    )
    test = Q(requirement__task=Requirement.Task.PROPORTIONING_TEST)
    at = asked(Duty.objects.filter(test, proportioner__system=OuterRef("pk")))
    place = Case(
        When(system_is_out() | site_is_out(), then=Value(ORDER["impaired"])),
        When(Exists(judged.filter(limits__in=["lean", "rich"])), then=Value(ORDER["outside"])),
        When(Exists(judged.filter(certainty="undecided")), then=Value(ORDER["undecided"])),
        *(
            When(Exists(at.filter(stands=name)), then=Value(ORDER[name]))
            for name in ("overdue", "due", "open", "ahead")
        ),
        default=Value(ORDER["none"]),
        output_field=CharField(),
    )
    return rows.annotate(place=place)


def with_devices(found: list[FoamSystem], now: datetime) -> list[SystemRow]:
    devices = Proportioner.objects.filter(system__in=found, retired_on=None)
    rows = device_rows(list(devices.select_related("tank").order_by("tag", "pk")), now)
    by_system: dict[int, list[DeviceRow]] = {}
    for row in rows:
        by_system.setdefault(row.proportioner.system_id, []).append(row)
    out = []
    for system in found:
        name = NAMES[system.place]  # type: ignore[attr-defined]
        out.append(SystemRow(system, name, STANDINGS[name], by_system.get(system.pk, [])))
    return out
