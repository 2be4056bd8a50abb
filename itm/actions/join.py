"""An invitation is taken up, and what was promised with it begins."""

from datetime import datetime

from django.db import transaction

from itm.accounts import inviting
from itm.accounts.actor import Actor
from itm.registry import promising


@transaction.atomic
def join(
    *, token: str, at: datetime, name: str = "", password: str = "", founds: str = ""
) -> Actor:
    """Who came. Works once. Raises what `inviting.accept` raises."""
    actor, invitation = inviting.accept(
        token=token, at=at, name=name, password=password, founds=founds
    )
    if invitation.founds:
        promising.keep_promises(actor=actor, invitation=invitation)
    return actor
