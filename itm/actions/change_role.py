"""Another role for somebody of an organisation."""

from datetime import datetime

from django.db import transaction

from itm.accounts import people
from itm.accounts.actor import Actor
from itm.accounts.models import Membership
from itm.registry.leaving import end_doors


@transaction.atomic
def change_role(
    *, actor: Actor, row: Membership, role: str, reason: str, at: datetime
) -> tuple[Membership, list[str]]:
    """The membership, and what else ended, in words: who manages no more has no links and
    invitations of a manager out. Tokens stay and do what the new role may.

    Raises what `people.change_role` raises.
    """
    ended: list[str] = []
    if row.role == people.Role.MANAGER != role:
        ended = end_doors(actor=actor, row=row, at=at, why=f"{row.user} manages no more")
    return people.change_role(actor=actor, row=row, role=role, reason=reason), ended
