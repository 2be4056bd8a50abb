"""New equipment, and what the programmes of the site ask of it from now on."""

from datetime import date
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records.duties import derive_site
from itm.registry import equipping
from itm.registry.models import Equipment, Site


@transaction.atomic
def add_equipment(*, actor: Actor, site: Site, today: date, **values: Any) -> Equipment:
    """Raises what `registry.equipping.add_equipment` raises."""
    row = equipping.add_equipment(actor=actor, site=site, today=today, **values)
    derive_site(actor=actor, site=site)
    return row
