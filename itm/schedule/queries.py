"""What a person may read of what is due."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from django.db.models import Case, CharField, Q, QuerySet, Value, When

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.registry.models import Proportioner, Site
from itm.schedule.due import Standing, standing
from itm.schedule.models import Duty

# Dates that the clocks of the sites show at one instant: two or three in the whole world.
Days = Mapping[date, Sequence[str]]


def days_of(zones: Iterable[str], now: datetime) -> Days:
    """The zones by the date they show: standings are asked by two or three dates, not by row."""
    days: dict[date, list[str]] = {}
    for zone in sorted(set(zones)):
        days.setdefault(date_at(zone, now), []).append(zone)
    return days


def days_present(actor: Actor, now: datetime) -> Days:
    """One query: the zones of the sites that the actor sees."""
    zones = Site.objects.visible_to(actor).order_by().values_list("time_zone", flat=True)
    return days_of(zones.distinct(), now)


def reached(column: str, days: Days, *, passed: bool = False) -> Q:
    """The date in the column is today at its site or before it; `passed`: before it only."""
    out = Q(pk__in=[])
    for day, zones in days.items():
        out |= Q(**{f"{column}__{'lt' if passed else 'lte'}": day}, site__time_zone__in=zones)
    return out


def open_duties(actor: Actor, days: Days) -> QuerySet[Duty]:
    """Cycles not done yet, of equipment in use, each with its standing in `stands`."""
    return standing_at(in_use(Duty.objects.visible_to(actor).filter(done_on=None)), days)


def in_use(duties: QuerySet[Duty]) -> QuerySet[Duty]:
    """Without what was withdrawn or hangs on retired equipment."""
    return duties.filter(
        Q(proportioner=None)
        | Q(proportioner__retired_on=None, proportioner__system__retired_on=None),
        Q(tank=None) | Q(tank__retired_on=None),
        withdrawn_on=None,
        site__retired_on=None,
    )


def standing_at(duties: QuerySet[Duty], days: Days) -> QuerySet[Duty]:
    """Each row with the name of its standing in `stands`, by the date of its own site."""
    stands = Case(
        When(reached("latest_on", days, passed=True), then=Value("overdue")),
        When(reached("due_on", days), then=Value("due")),
        When(reached("window_opens_on", days), then=Value("open")),
        default=Value("ahead"),
        output_field=CharField(),
    )
    return duties.annotate(stands=stands)


def standing_of(duty: Duty, now: datetime) -> Standing:
    """Where an open cycle stands on its site's own date."""
    today = date_at(duty.site.time_zone, now)
    return standing(duty.window_opens_on, duty.due_on, duty.latest_on, today)


def cycles_of(actor: Actor, proportioner: Proportioner) -> list[Duty]:
    """Every cycle of a device, the newest first: done, missed and open."""
    rows = Duty.objects.visible_to(actor).filter(proportioner=proportioner, withdrawn_on=None)
    return list(rows.select_related("requirement", "site").order_by("-counts_from", "-pk"))
