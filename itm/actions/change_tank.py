"""A tank is corrected; the last check on older papers is where its first duty counts from."""

from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records import past
from itm.records.duties import derive_site
from itm.registry import services as registry
from itm.registry.models import Tank
from itm.schedule import services as schedule


@transaction.atomic
def change_tank(*, actor: Actor, tank: Tank, **values: Any) -> Tank:
    """Raises what `registry.services.change_tank` raises. Duties once done are not moved."""
    row = registry.change_tank(actor=actor, tank=tank, **values)
    schedule.start_duties(actor=actor, tank=row, reported=past.days_of(row.site_id))
    derive_site(actor=actor, site=row.site)
    return row
