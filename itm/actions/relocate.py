"""A proportioner or other equipment comes to another system or tank, its duties with it."""

from datetime import date

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.records import past
from itm.records.duties import derive_site
from itm.records.models import ProportioningTest, RestorationLine
from itm.records.restoration import OUT
from itm.registry import relocating
from itm.registry.models import FoamSystem, Proportioner, Relocation, Tank
from itm.registry.relocating import Movable
from itm.schedule import services as schedule

State = ProportioningTest.State


@transaction.atomic
def relocate(
    *, actor: Actor, row: Movable, system: FoamSystem | None, tank: Tank | None,
    on: date | None, today: date, reason: str = "",
) -> Movable:  # fmt: skip
    """Raises what `registry.relocating.relocate` raises; Refused test_under_way, out_of_service."""
    _require_at_rest(row)
    moved = relocating.relocate(
        actor=actor, row=row, system=system, tank=tank, on=on, today=today, reason=reason
    )
    _carry_on(actor, moved)
    return moved


@transaction.atomic
def take_move_back(*, actor: Actor, move: Relocation, today: date) -> Movable:
    """Raises what `registry.relocating.take_move_back` raises; Refused test_under_way,
    out_of_service. May run twice."""
    _require_at_rest(move.thing)
    row = relocating.take_move_back(actor=actor, move=move, today=today)
    _carry_on(actor, row)
    return row


def _require_at_rest(row: Movable) -> None:
    """A test under way was prepared for one system; its record must not end as one of another."""
    if not isinstance(row, Proportioner):
        return
    if row.tests.filter(state__in=[State.DRAFT, State.HANDED_IN]).exists():
        raise Refused(
            "test_under_way",
            f"A test of {row} is not signed yet: sign or abandon it before {row} is moved.",
        )
    lines = RestorationLine.objects.filter(OUT, proportioner=row, visit__started_at__isnull=False)
    if lines.exists():
        raise Refused(
            "out_of_service",
            f"{row} is not back in service after a test: put it back before it is moved.",
        )


def _carry_on(actor: Actor, row: Movable) -> None:
    if isinstance(row, Proportioner):
        reported = past.days_of(row.system.site_id)
        schedule.start_duties(actor=actor, proportioner=row, tank=row.tank, reported=reported)
    site = row.system.site if isinstance(row, Proportioner) else row.site
    derive_site(actor=actor, site=site)
