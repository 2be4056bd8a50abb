"""One line of older papers does not count, and what is due follows."""

from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.records import past
from itm.records.duties import derive_site
from itm.records.models import PastWithdrawal


@transaction.atomic
def withdraw_past(*, actor: Actor, line: past.Line, reason: str, at: datetime) -> PastWithdrawal:
    """Raises what `records.past.withdraw` raises. May run twice."""
    done = past.withdraw(actor=actor, line=line, reason=reason, at=at)
    derive_site(actor=actor, site=line.site)
    return done
