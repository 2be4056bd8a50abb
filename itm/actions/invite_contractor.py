"""A contractor that is not here yet is asked to come, with the sites that wait for it."""

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from itm.accounts import inviting
from itm.accounts.actor import Actor, require_kind
from itm.accounts.models import Invitation
from itm.accounts.people import Role
from itm.registry import promising
from itm.registry.models import Site


@transaction.atomic
def invite_contractor(
    *, actor: Actor, founds: str, email: str, sites: Sequence[Site], starts_on: date,
    ends_on: date | None, at: datetime,
) -> Invitation:  # fmt: skip
    """The invited brings the organisation and becomes its manager.

    Raises Forbidden; Refused what `inviting.invite` and `promising.promise` refuse.
    """
    require_kind(actor, "owner", what="invite a contractor")
    row = inviting.invite(actor=actor, email=email, role=Role.MANAGER, founds=founds, at=at)
    promising.promise(
        actor=actor, invitation=row, sites=sites, starts_on=starts_on, ends_on=ends_on
    )
    return row
