"""A proportioner is corrected; its first duty counts from the last test on older papers."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import catching_up
from itm.records import past
from itm.records.duties import derive_site
from itm.registry import services as registry
from itm.registry.models import Proportioner
from itm.registry.services import PointRow
from itm.schedule import services as schedule


@transaction.atomic
def change_proportioner(
    *, actor: Actor, proportioner: Proportioner, flow_points: Sequence[PointRow], at: datetime,
    **values: Any,
) -> Proportioner:  # fmt: skip
    """Raises what `registry.services.change_proportioner` raises.

    Duties once done are not moved. What ended because a flow point was not run any more is open
    again where it is.
    """
    row = registry.change_proportioner(
        actor=actor, proportioner=proportioner, flow_points=flow_points, **values
    )
    reported = past.days_of(row.system.site_id)
    schedule.start_duties(actor=actor, proportioner=row, reported=reported)
    derive_site(actor=actor, site=row.system.site)
    catching_up.after_spots_back(actor=actor, thing=row, at=at)
    return row
