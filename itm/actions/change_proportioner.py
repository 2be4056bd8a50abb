"""A proportioner is corrected; its first duty counts from the last test on older papers."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records import past
from itm.records.duties import derive_site
from itm.registry import services as registry
from itm.registry.models import Proportioner
from itm.registry.services import PointRow
from itm.schedule import services as schedule


@transaction.atomic
def change_proportioner(
    *, actor: Actor, proportioner: Proportioner, flow_points: Sequence[PointRow], **values: Any
) -> Proportioner:
    """Raises what `registry.services.change_proportioner` raises.

    Duties once done are not moved.
    """
    row = registry.change_proportioner(
        actor=actor, proportioner=proportioner, flow_points=flow_points, **values
    )
    reported = past.days_of(row.system.site_id)
    schedule.start_duties(actor=actor, proportioner=row, reported=reported)
    derive_site(actor=actor, site=row.system.site)
    return row
