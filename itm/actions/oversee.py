"""Who looks after a site, and what the authority's programme asks for there."""

from datetime import date

from django.db import transaction

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.records.duties import derive_site
from itm.registry import overseeing
from itm.registry.models import Site, SiteAuthority


@transaction.atomic
def name_authority(
    *, actor: Actor, site: Site, organisation: Organisation, scope: str, today: date
) -> SiteAuthority:
    """Raises what `registry.overseeing.add_authority` raises."""
    row = overseeing.add_authority(
        actor=actor, site=site, organisation=organisation, scope=scope, today=today
    )
    derive_site(actor=actor, site=site)
    return row


@transaction.atomic
def end_oversight(*, actor: Actor, row: SiteAuthority, ended_on: date | None) -> SiteAuthority:
    """Raises what `registry.overseeing.end_oversight` raises."""
    done = overseeing.end_oversight(actor=actor, row=row, ended_on=ended_on)
    derive_site(actor=actor, site=row.site)
    return done


@transaction.atomic
def take_naming_back(*, actor: Actor, row: SiteAuthority, today: date) -> SiteAuthority:
    """Raises what `registry.overseeing.take_naming_back` raises. May run twice."""
    done = overseeing.take_naming_back(actor=actor, row=row, today=today)
    derive_site(actor=actor, site=row.site)
    return done
