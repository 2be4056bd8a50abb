"""What an owner promises a contractor that is not here yet, and how the promise is kept."""

from collections.abc import Sequence
from datetime import date

from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor
from itm.accounts.models import Invitation
from itm.core import history
from itm.core.errors import Refused
from itm.registry.models import Grant, PromisedGrant, Site
from itm.registry.services import keep, require_own


def promise(
    *, actor: Actor, invitation: Invitation, sites: Sequence[Site], starts_on: date,
    ends_on: date | None,
) -> None:  # fmt: skip
    """Raises Forbidden; Refused no_sites, over, not_valid."""
    if not sites:
        raise Refused("no_sites", "Tick the sites where the contractor is to work.", "sites")
    if ends_on is not None and ends_on < actor.today:
        raise Refused("over", "This day is over; choose one that comes.", "ends_on")
    for site in sites:
        require_own(actor, site, "engage a contractor")
        row = PromisedGrant(invitation=invitation, site=site)
        keep(row, {"starts_on": starts_on, "ends_on": ends_on}, by=actor)


def promised(invitation: Invitation) -> QuerySet[PromisedGrant]:
    """For code that read the invitation through its scope."""
    return PromisedGrant.objects.filter(invitation=invitation).select_related("site")


def keep_promises(*, actor: Actor, invitation: Invitation) -> list[Grant]:
    """The contractor that came is engaged as it was promised, where the site is still in use and
    still of the organisation that promised it, and the last day has not passed."""
    rows = promised(invitation).filter(
        Q(ends_on=None) | Q(ends_on__gte=actor.today),
        site__retired_on=None, site__owner=invitation.organisation_id,
    )  # fmt: skip
    with history.because(f"promised by {invitation.organisation} with the invitation"):
        return [
            keep(
                Grant(site=row.site, organisation=actor.organisation),
                {"starts_on": row.starts_on, "ends_on": row.ends_on}, by=actor,
            )
            for row in rows
        ]  # fmt: skip
