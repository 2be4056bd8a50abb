"""What else ends when somebody manages an organisation no more, so that no way in stays behind."""

from datetime import datetime

from itm.accounts import inviting
from itm.accounts.actor import Actor
from itm.accounts.models import Membership
from itm.core import history
from itm.registry import links


def end_doors(*, actor: Actor, row: Membership, at: datetime, why: str) -> list[str]:
    """Invitations that the person asked for and nobody took up, which may go to an address of its
    own, and links for readers that it made, whose secrets it has seen. What ended, in words.

    Raises Forbidden.
    """
    ended = []
    with history.because(why):
        for asked in inviting.asked_by(actor, row.user):
            inviting.withdraw(actor=actor, row=asked, at=at)
            ended.append(f"the invitation of {asked.founds or asked.email}")
        if actor.kind == "owner":
            for link in links.made_by(actor, row.user):
                links.revoke(actor=actor, row=link, at=at)
                ended.append(f"the link for readers \u201c{link}\u201d")
    return ended
