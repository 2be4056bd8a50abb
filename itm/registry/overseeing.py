"""Authorities of a site: named by its owner, and let go by themselves."""

from datetime import date

from itm.accounts.actor import Actor, require_lead
from itm.accounts.models import Organisation
from itm.core.errors import Forbidden, Refused
from itm.registry.models import Site, SiteAuthority
from itm.registry.services import keep, require_keeper


def add_authority(
    *, actor: Actor, site: Site, organisation: Organisation, scope: str, today: date
) -> SiteAuthority:
    """An authority sees the site from now on. Refused wrong_kind, already_there.

    `today` on the clock of the site.
    """
    require_keeper(actor, site, "name the authorities of a site")
    if organisation.kind != Organisation.Kind.AUTHORITY:
        raise Refused("wrong_kind", f"{organisation} is not an authority.", "organisation")
    row = SiteAuthority(site=site, organisation=organisation, scope=scope, named_on=today)
    same = SiteAuthority.objects.covering(today).filter(site=site, organisation=organisation)
    if same.filter(scope=scope).exists():
        raise Refused(
            "already_there",
            f"{organisation} already looks after {row.get_scope_display().lower()} here.",
            "organisation",
        )
    return keep(row, {}, by=actor)


def end_oversight(*, actor: Actor, row: SiteAuthority, ended_on: date | None) -> SiteAuthority:
    """Set the last day, or take it back while the authority still sees the site.

    Raises Forbidden; Refused not_valid.
    """
    require_itself(actor, row)
    return keep(row, {"ended_on": ended_on}, by=actor)


def require_itself(actor: Actor, row: SiteAuthority) -> None:
    if row.organisation_id != actor.organisation_id:
        raise Forbidden("Only the authority itself can say that it no longer looks after a site.")
    require_lead(actor, what="say that the authority no longer looks after a site")


def take_naming_back(*, actor: Actor, row: SiteAuthority, today: date) -> SiteAuthority:
    """A slip of the owner, on the day it was made. Refused only_today. May run twice."""
    require_keeper(actor, row, "take a naming back")
    if row.taken_back_on is not None:
        return row
    if row.named_on != today:
        raise Refused(
            "only_today",
            f"A naming is taken back on the day it was made. Now only {row.organisation} can say "
            "that it no longer looks after this site.",
        )
    return keep(row, {"taken_back_on": today}, by=actor, verb="taken back")
