"""A site is corrected; in another time zone its day may be another one."""

from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.registry import services as registry
from itm.registry.models import Site
from itm.schedule.standing import restand_site


@transaction.atomic
def change_site(*, actor: Actor, site: Site, **values: Any) -> Site:
    """Raises what `registry.services.change_site` raises."""
    before = site.time_zone
    row = registry.change_site(actor=actor, site=site, **values)
    if row.time_zone != before:
        restand_site(actor=actor, site=row)
    return row
