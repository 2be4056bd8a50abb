"""Equipment is corrected: what it is, and since when, decide what is due on it."""

from datetime import date
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records.duties import derive_site
from itm.registry import equipping
from itm.registry.models import Equipment


@transaction.atomic
def change_equipment(
    *, actor: Actor, equipment: Equipment, today: date, **values: Any
) -> Equipment:
    """Raises what `registry.equipping.change_equipment` raises."""
    row = equipping.change_equipment(actor=actor, equipment=equipment, today=today, **values)
    derive_site(actor=actor, site=row.site)
    return row
