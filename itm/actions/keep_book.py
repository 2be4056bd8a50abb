"""What goes into a tank or out of it: another lot, and the fill itself, bring tasks on."""

from datetime import date, datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records.duties import derive_site
from itm.registry import movements
from itm.registry.models import Tank, TankMovement


@transaction.atomic
def move(*, actor: Actor, tank: Tank, today: date, **values: Any) -> TankMovement:
    """Raises what `registry.movements.move` raises."""
    row = movements.move(actor=actor, tank=tank, today=today, **values)
    derive_site(actor=actor, site=tank.site)
    return row


@transaction.atomic
def correct(*, actor: Actor, movement: TankMovement, **values: Any) -> TankMovement:
    """Raises what `registry.movements.correct` raises."""
    row = movements.correct(actor=actor, movement=movement, **values)
    derive_site(actor=actor, site=movement.tank.site)
    return row


@transaction.atomic
def withdraw(*, actor: Actor, movement: TankMovement, because: str, at: datetime) -> TankMovement:
    """Raises what `registry.movements.withdraw` raises. May run twice."""
    row = movements.withdraw(actor=actor, movement=movement, because=because, at=at)
    derive_site(actor=actor, site=movement.tank.site)
    return row
