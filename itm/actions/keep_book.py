"""What goes into a tank or out of it: another lot, and the fill itself, bring tasks on. What ended
because its liquid had left is open again where that is back."""

from datetime import date, datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import catching_up
from itm.records.duties import derive_site
from itm.registry import changing_over, drawing
from itm.registry.models import ChangeOver, Tank, TankMovement


@transaction.atomic
def move(*, actor: Actor, tank: Tank, today: date, at: datetime, **values: Any) -> TankMovement:
    """Raises what `registry.drawing.move` raises."""
    row = drawing.move(actor=actor, tank=tank, today=today, **values)
    _settle(actor, tank, at)
    return row


@transaction.atomic
def correct(*, actor: Actor, movement: TankMovement, at: datetime, **values: Any) -> TankMovement:
    """Raises what `registry.drawing.correct` raises."""
    row = drawing.correct(actor=actor, movement=movement, at=at, **values)
    _settle(actor, movement.tank, at)
    return row


@transaction.atomic
def withdraw(*, actor: Actor, movement: TankMovement, because: str, at: datetime) -> TankMovement:
    """Raises what `registry.drawing.withdraw` raises. May run twice."""
    row = drawing.withdraw(actor=actor, movement=movement, because=because, at=at)
    _settle(actor, movement.tank, at)
    return row


@transaction.atomic
def change_over(
    *, actor: Actor, tank: Tank, new: changing_over.New, today: date, at: datetime
) -> list[ChangeOver]:  # fmt: skip
    """Raises what `registry.drawing.change_over` raises."""
    rows = drawing.change_over(actor=actor, tank=tank, new=new, today=today)
    _settle(actor, tank, at)
    return rows


@transaction.atomic
def withdraw_changeover(
    *, actor: Actor, changeover: ChangeOver, because: str, at: datetime
) -> ChangeOver:  # fmt: skip
    """Raises what `registry.drawing.withdraw_changeover` raises."""
    row = drawing.withdraw_changeover(actor=actor, changeover=changeover, because=because, at=at)
    _settle(actor, changeover.tank, at)
    return row


def _settle(actor: Actor, tank: Tank, at: datetime) -> None:
    derive_site(actor=actor, site=tank.site)
    catching_up.after_spots_back(actor=actor, thing=tank, at=at)
