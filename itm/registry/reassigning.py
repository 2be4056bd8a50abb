"""Another contractor takes over many sites on one day: all of them or none."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor, require_kind, require_lead
from itm.accounts.models import Organisation
from itm.core.errors import Refused
from itm.core.figures import day
from itm.registry.models import Grant, Site
from itm.registry.services import end_engagement, engage


@dataclass(frozen=True)
class Handover:
    """The sites that changed hands, and the last day of the one that leaves."""

    sites: tuple[Site, ...]
    leaves_on: date


def engaged_now(actor: Actor, contractor: Organisation, on: date) -> QuerySet[Site]:
    """The owner's sites in use where the contractor is engaged on that day or later."""
    grants = Grant.objects.filter(Q(ends_on=None) | Q(ends_on__gte=on), organisation=contractor)
    rows = Site.objects.visible_to(actor).filter(owner=actor.organisation_id, retired_on=None)
    return rows.filter(pk__in=grants.values("site")).order_by("name", "pk")


def contractors_of(actor: Actor) -> QuerySet[Organisation]:
    """Contractors engaged at some site of the owner, or to be."""
    grants = Grant.objects.filter(
        Q(ends_on=None) | Q(ends_on__gte=actor.today), site__owner=actor.organisation_id
    )
    return Organisation.objects.filter(pk__in=grants.values("organisation")).order_by("name", "pk")


def require_reassigner(actor: Actor) -> None:
    require_kind(actor, "owner", what="reassign a contractor")
    require_lead(actor, what="reassign a contractor")


@transaction.atomic
def reassign(
    *, actor: Actor, leaves: Organisation, follows: Organisation, starts_on: date,
    sites: Sequence[Site],
) -> Handover:  # fmt: skip
    """The one leaves the day before the other begins. What it handed in stays readable to it.

    Raises Forbidden; Refused no_sites, same, not_engaged, begins_later, already_engaged.
    """
    require_reassigner(actor)
    if leaves == follows:
        raise Refused("same", "The two contractors are the same.", "follows")
    if not sites:
        raise Refused("no_sites", "Choose the sites that change hands.", "sites")
    last = starts_on - timedelta(days=1)
    for site in sites:
        held = Grant.objects.filter(
            Q(ends_on=None) | Q(ends_on__gte=starts_on), site=site, organisation=leaves
        )
        grants = list(held.select_related("site"))
        if not grants:
            raise Refused(
                "not_engaged", f"{leaves} is not engaged at {site} on {day(starts_on)}.", "sites"
            )
        for grant in grants:
            if grant.starts_on > last:
                raise Refused(
                    "begins_later",
                    f"{leaves} begins at {site} only on {day(grant.starts_on)}; choose a later "
                    "day or leave this site out.",
                    "starts_on",
                )
            end_engagement(actor=actor, grant=grant, ends_on=last)
        try:
            engage(actor=actor, site=site, organisation=follows, starts_on=starts_on)
        except Refused as refusal:
            raise Refused(refusal.code, f"{site}: {refusal.sentence}", "sites") from refusal
    return Handover(tuple(sites), last)
