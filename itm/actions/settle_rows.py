"""Rows of an adoption are confirmed or get other terms, and the duties follow at once."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.records.duties import derive_sites
from itm.schedule import adopting
from itm.schedule.adopting import Agreed
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Confirmation, Requirement, Terms
from itm.schedule.services import Effect


@transaction.atomic
def confirm(
    *, actor: Actor, adoption: Adoption, requirements: Sequence[Requirement],
    checked_against: str, today: date,
) -> tuple[list[Confirmation], Effect]:  # fmt: skip
    """Raises what `schedule.adopting.confirm` raises."""
    rows = adopting.confirm(
        actor=actor, adoption=adoption, requirements=requirements,
        checked_against=checked_against, today=today,
    )  # fmt: skip
    count = "1 row" if len(rows) == 1 else f"{len(rows)} rows"
    return rows, followed(actor, adoption, f"{count} of {adoption.programme} confirmed")


@transaction.atomic
def take_back(
    *, actor: Actor, confirmation: Confirmation, today: date
) -> tuple[Confirmation, Effect]:
    """Raises what `schedule.adopting.take_back` raises."""
    row = adopting.take_back(actor=actor, confirmation=confirmation, today=today)
    return row, followed(actor, row.adoption, f"{row.requirement}: confirmation taken back")


@transaction.atomic
def set_terms(
    *, actor: Actor, adoption: Adoption, requirement: Requirement, starts_on: date,
    window: Window | None, agreed: Agreed | None = None,
) -> tuple[Terms, Effect]:  # fmt: skip
    """Raises what `schedule.adopting.set_terms` raises."""
    row = adopting.set_terms(
        actor=actor, adoption=adoption, requirement=requirement, starts_on=starts_on,
        window=window, agreed=agreed,
    )  # fmt: skip
    return row, followed(actor, adoption, f"{requirement}: terms from {day(starts_on)}")


def followed(actor: Actor, adoption: Adoption, why: str) -> Effect:
    return derive_sites(actor=actor, sites=adopting.sites_under(adoption), why=why)
