"""A file is withdrawn by whoever brought it or owns what it hangs on, while nothing rests on it."""

from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Conflict
from itm.registry import attaching
from itm.registry.models import Attachment
from itm.retention.resting import rests_on


def require_free(actor: Actor, row: Attachment) -> None:
    """Raises Forbidden, Conflict."""
    attaching.require_may_withdraw(actor, row)
    if words := rests_on(row):
        raise Conflict(
            f"This file belongs to {words}, which others read and may have acted on, so it stays "
            "to be seen. If it shows the wrong thing, say so there: in a correction, an answer or "
            "a further note."
        )


@transaction.atomic
def withdraw_file(*, actor: Actor, row: Attachment, why: str, at: datetime) -> Attachment:
    """Raises what `require_free` and `registry.attaching.withdraw` raise."""
    row = Attachment.objects.select_for_update(of=("self",)).get(pk=row.pk)
    require_free(actor, row)
    return attaching.withdraw(actor=actor, row=row, why=why, at=at)
