"""Showing once more who one is, before a deed that nobody may do on a screen left open.

The session holds when its person last proved it; the edge turns that into `Actor.proved`, and the
deed asks for it. So a rule that wants a proof stands in the deed and not on a page.
"""

from dataclasses import replace
from datetime import datetime, timedelta

from django.contrib.auth.hashers import check_password

from itm.accounts import codes, entrance
from itm.accounts.actor import Actor
from itm.accounts.models import Try
from itm.core.errors import Forbidden, Refused

FRESH = timedelta(minutes=5)  # own choice
PLACE = "proof"


def is_fresh(proved_at: str | None, now: datetime) -> bool:
    """Whether what the session noted still counts. A clock that was set back proves nothing."""
    if not proved_at:
        return False
    return now - FRESH <= datetime.fromisoformat(proved_at) <= now


def require(actor: Actor) -> None:
    """Refused proof_needed."""
    if not actor.proved:
        raise Refused(
            "proof_needed",
            f"Type your password: the last time was more than {FRESH.seconds // 60} minutes ago.",
            PLACE,
        )


def prove(*, actor: Actor, text: str, caller: str, at: datetime) -> Actor:
    """The same actor, proved. Raises Forbidden; Refused proof_wrong, too_many_tries."""
    user = actor.user
    if user is None:
        raise Forbidden("Only a person can show who it is.")
    try:
        knock = entrance.begin(what=Try.What.PROOF, account=user.email, caller=caller, at=at)
    except Refused as refusal:
        raise Refused(refusal.code, refusal.sentence, PLACE) from refusal
    # Not by the person's own method: that may hash anew, and a new hash ends every session.
    if not (codes.fits(user, text, at) or check_password(text, user.password)):
        what = "neither your password nor a code" if codes.of(user) else "not your password"
        raise Refused("proof_wrong", f"This is {what}. Capitals count.", PLACE)
    entrance.passed(knock)
    return replace(actor, proved=True)
