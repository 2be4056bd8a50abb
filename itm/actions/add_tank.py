"""A new concentrate tank, and what is due on it from now on."""

from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records.duties import derive_site
from itm.registry import services as registry
from itm.registry.models import Site, Tank
from itm.schedule import services as schedule


@transaction.atomic
def add_tank(*, actor: Actor, site: Site, **values: Any) -> Tank:
    """Raises what `registry.services.add_tank` raises."""
    row = registry.add_tank(actor=actor, site=site, **values)
    schedule.start_duties(actor=actor, tank=row)
    derive_site(actor=actor, site=row.site)
    return row
