"""What a person may read of what is due."""

from collections.abc import Mapping
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import NotFound
from itm.registry.access import Scoped
from itm.registry.models import Proportioner, Site
from itm.schedule.due import Standing, standing
from itm.schedule.models import ASKED, Duty, Requirement
from itm.schedule.models.duties import LINKS
from itm.schedule.told import READ

FEW = 200  # sites

Rows = TypeVar("Rows", bound=Scoped)


def open_duties(actor: Actor) -> QuerySet[Duty]:
    """Cycles not done yet, of equipment in use, each with its standing in `stands`."""
    return asked(Duty.objects.visible_to(actor))


def asked(duties: QuerySet[Duty]) -> QuerySet[Duty]:
    """Without what is done, was withdrawn or hangs on retired equipment."""
    return duties.filter(stands__in=ASKED, done_on=None, withdrawn_on=None)


NARROWS = {
    "site": "site__key",
    "due_from": "due_on__gte",
    "due_until": "due_on__lte",
    "done_from": "done_on__gte",
    "done_until": "done_on__lte",
}


def listed_duties(actor: Actor, standing: str, narrow: Mapping[str, str]) -> QuerySet[Duty]:
    """Of one standing; of all that are open (`asked`); or of those that are done (`done`)."""
    rows = in_reach(actor, Duty.objects.visible_to(actor)).filter(withdrawn_on=None)
    if standing == "done":
        rows = rows.filter(done_on__isnull=False)
    else:
        rows = asked(rows) if standing == "asked" else asked(rows).filter(stands=standing)
    rows = rows.filter(**{NARROWS[name]: value for name, value in narrow.items()})
    return rows.select_related("requirement__programme", *READ)


def in_reach(actor: Actor, rows: QuerySet[Rows]) -> QuerySet[Rows]:
    """The same rows. Where the actor sees few sites they are named, so that the database goes from
    them to their rows; otherwise it goes along what is worst, and soon meets one of the actor's.
    """
    return at_sites(rows, few_sites(actor))


def few_sites(actor: Actor) -> list[int] | None:
    """The sites that the actor sees, where they are few enough to be named."""
    sites = Site.objects.visible_to(actor).order_by().values_list("pk", flat=True)
    named = list(sites[: FEW + 1])
    return named if len(named) <= FEW else None


def at_sites(rows: QuerySet[Rows], sites: list[int] | None) -> QuerySet[Rows]:
    return rows if sites is None else rows.filter(**{f"{rows.model.site_path}__in": sites})


def standing_of(duty: Duty, now: datetime) -> Standing:
    """Where an open cycle stands on its site's own date, with the days to its next boundary."""
    today = date_at(duty.site.time_zone, now)
    return standing(duty.window_opens_on, duty.due_on, duty.latest_on, today)


def cycles_of(actor: Actor, proportioner: Proportioner) -> list[Duty]:
    """Every cycle of the test of a device, the newest first: done, missed and open."""
    rows = Duty.objects.visible_to(actor).filter(
        proportioner=proportioner,
        withdrawn_on=None,
        requirement__task=Requirement.Task.PROPORTIONING_TEST,
    )
    return list(rows.select_related("requirement", "site").order_by("-counts_from", "-pk"))


def duty(actor: Actor, key: UUID) -> Duty:
    rows = Duty.objects.visible_to(actor).filter(key=key)
    row = rows.select_related("requirement__programme", "site__owner", *READ).first()
    if row is None:
        raise NotFound("duty", key)
    return row


def cycles_like(actor: Actor, duty: Duty) -> list[Duty]:
    """Every cycle of the same task on the same thing through all editions, the newest first."""
    row = duty.requirement
    same = Q(requirement__task=row.task)
    if row.task == Requirement.Task.INSPECTION:
        same &= Q(requirement__code=row.code, requirement__programme__code=row.programme.code)
    rows = Duty.objects.visible_to(actor).filter(
        same, site=duty.site_id, withdrawn_on=None, **{name: getattr(duty, name) for name in LINKS}
    )
    return list(
        rows.select_related("requirement__programme", "site").order_by("-counts_from", "-pk")
    )
