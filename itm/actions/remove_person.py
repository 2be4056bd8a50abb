"""Somebody leaves an organisation, and no way in stays behind."""

from datetime import datetime

from django.db import transaction

from itm.accounts import people
from itm.accounts.actor import Actor
from itm.accounts.models import Membership
from itm.registry.leaving import end_doors


@transaction.atomic
def remove_person(
    *, actor: Actor, row: Membership, reason: str, at: datetime
) -> tuple[Membership, list[str]]:
    """The membership, and what else ended with it, in words.

    Raises what `people.remove` raises.
    """
    ended = end_doors(actor=actor, row=row, at=at, why=f"{row.user} was removed")
    return people.remove(actor=actor, row=row, reason=reason), ended
