"""A programme begins to hold, or ends, and the duties of all sites under it follow at once."""

from datetime import date

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.records.duties import derive_sites
from itm.registry.models import Site
from itm.schedule import adopting
from itm.schedule.adopting import Agreed
from itm.schedule.models import Adoption, Programme
from itm.schedule.services import Effect


@transaction.atomic
def adopt(
    *, actor: Actor, programme: Programme, starts_on: date, site: Site | None = None
) -> tuple[Adoption, Effect]:
    """For all sites or none. Raises what `schedule.adopting.adopt` raises."""
    row = adopting.adopt(actor=actor, programme=programme, starts_on=starts_on, site=site)
    return row, followed(actor, row, f"{programme} holds from {day(starts_on)}")


@transaction.atomic
def end(
    *, actor: Actor, adoption: Adoption, ends_on: date, agreed: Agreed | None = None
) -> tuple[Adoption, Effect]:
    """Raises what `schedule.adopting.end` raises."""
    row = adopting.end(actor=actor, adoption=adoption, ends_on=ends_on, agreed=agreed)
    return row, followed(actor, row, f"{row.programme} ends on {day(ends_on)}")


def followed(actor: Actor, adoption: Adoption, why: str) -> Effect:
    return derive_sites(actor=actor, sites=adopting.sites_under(adoption), why=why)
