"""Due dates of many duties move, or go back to the programme's own day."""

from collections.abc import Sequence

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records.duties import derive_sites
from itm.schedule import shifting
from itm.schedule.models import Duty
from itm.schedule.shifting import Shift


@transaction.atomic
def shift_duties(*, actor: Actor, duties: Sequence[Duty], by: Shift, why: str) -> list[Duty]:
    """Raises what `schedule.shifting.shift` raises."""
    moved = shifting.shift(actor=actor, duties=duties, by=by, why=why)
    if by == Shift():  # the rule's own day is worked out anew
        sites = {duty.site_id: duty.site for duty in moved}
        derive_sites(actor=actor, sites=sites.values(), why="due dates put back")
    return moved
