"""A foam system is corrected; the day of commissioning is where its first duties count from."""

from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records import past
from itm.records.duties import derive_site
from itm.registry import services as registry
from itm.registry.models import FoamSystem
from itm.schedule import services as schedule


@transaction.atomic
def change_system(*, actor: Actor, system: FoamSystem, **values: Any) -> FoamSystem:
    """Raises what `registry.services.change_system` raises. Duties once done are not moved."""
    before = system.commissioned_on
    row = registry.change_system(actor=actor, system=system, **values)
    if row.commissioned_on != before:
        for device in row.proportioners.filter(retired_on=None).select_related("tank__site"):
            device.system = row
            schedule.start_duties(
                actor=actor, proportioner=device, tank=device.tank,
                reported=past.days_of(row.site_id),
            )  # fmt: skip
    derive_site(actor=actor, site=row.site)
    return row
