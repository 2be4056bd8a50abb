"""A new proportioner: its flow points, and what is due on it from now on."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records import past
from itm.records.duties import derive_site
from itm.registry import services as registry
from itm.registry.models import FoamSystem, Proportioner
from itm.registry.services import PointRow
from itm.schedule import services as schedule


@transaction.atomic
def add_proportioner(
    *, actor: Actor, system: FoamSystem, flow_points: Sequence[PointRow], **values: Any
) -> Proportioner:
    """Raises what `registry.services.add_proportioner` raises.

    The tank is named too: one that fed nothing before has its concentrate due from now on.
    """
    row = registry.add_proportioner(actor=actor, system=system, flow_points=flow_points, **values)
    reported = past.days_of(row.system.site_id)  # of the tank
    schedule.start_duties(actor=actor, proportioner=row, tank=row.tank, reported=reported)
    derive_site(actor=actor, site=row.system.site)
    return row
