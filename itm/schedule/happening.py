"""Writes about what happened at a site that no record of another kind tells."""

from datetime import date
from uuid import UUID

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.core.errors import NotFound, Refused
from itm.core.figures import day
from itm.registry.access import require_work
from itm.registry.models import FoamSystem, Site
from itm.registry.services import keep, require_in_use
from itm.schedule.models import Happening


def require_witness(actor: Actor, site: Site) -> None:
    require_work(actor, site, "note events")


def note(
    *, actor: Actor, site: Site, system: FoamSystem | None, kind: str, happened_on: date,
    words: str, today: date,
) -> Happening:  # fmt: skip
    """`today` on the clock of the site. Refused day_ahead, other_site, before_commissioning."""
    require_witness(actor, site)
    require_in_use(site, "site")
    if happened_on > today:
        raise Refused("day_ahead", "This day has not come yet.", "happened_on")
    if system is not None and system.site_id != site.pk:
        raise Refused("other_site", "This system stands at another site.", "system")
    if system is not None and happened_on < system.commissioned_on:
        raise Refused(
            "before_commissioning",
            f"{system} was commissioned on {day(system.commissioned_on)}, after that day.",
            "happened_on",
        )
    row = Happening(site=site, system=system)
    values = {"kind": kind, "happened_on": happened_on, "words": words.strip()}
    return keep(row, values, by=actor, verb="noted")


def withdraw(*, actor: Actor, happening: Happening, today: date) -> Happening:
    """It did not happen, or not so; it stays to be read. May run twice."""
    require_witness(actor, happening.site)
    if happening.withdrawn_on is not None:
        return happening
    return keep(happening, {"withdrawn_on": today}, by=actor, verb="withdrawn")


def happenings_at(actor: Actor, site: Site) -> QuerySet[Happening]:
    rows = Happening.objects.visible_to(actor).filter(site=site)
    return rows.select_related("system", "site")


def happening(actor: Actor, key: UUID) -> Happening:
    row = (
        Happening.objects.visible_to(actor)
        .select_related("site__owner", "system")
        .filter(key=key)
        .first()
    )
    if row is None:
        raise NotFound("event", key)
    return row
