"""One click ends one kind of mail (RFC 8058), without signing in.

The link is signed for the membership and the kind, so it changes that choice of that person and
nothing else, and it works as long as the mail is kept.
"""

from dataclasses import dataclass
from uuid import UUID

from django.core import signing

from itm.accounts.models import Membership
from itm.core.errors import NotFound
from itm.core.letters import address
from itm.notices.models import Wish


@dataclass(frozen=True)
class Mails:
    """A kind of mail: the salt of its links, its name in words, and the choice that ends it."""

    salt: str
    words: str
    none: dict[str, bool | None]


SUMMARY = Mails("itm.notices.unsubscribe", "Summary mails", {"weekday": None})
AT_ONCE = Mails("itm.notices.unsubscribe.at_once", "Mails at once", {"at_once": False})
KINDS = (SUMMARY, AT_ONCE)


def stop_token(mails: Mails, membership: Membership) -> str:
    return signing.Signer(salt=mails.salt).sign(str(membership.key))


def stop_link(mails: Mails, membership: Membership) -> str:
    return address("unsubscribe", stop_token(mails, membership))


def headers(link: str) -> dict[str, str]:
    """By which a mail program offers its own button."""
    return {
        "List-Unsubscribe": f"<{link}>",  # RFC 2369
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",  # RFC 8058
    }


def subscriber(token: str) -> tuple[Mails, Membership]:
    """Which mails the link ends, and whose. Raises NotFound for a link that was never sent."""
    rows = Membership.objects.select_related("user", "organisation")
    for mails in KINDS:
        try:
            key = UUID(signing.Signer(salt=mails.salt).unsign(token))
        except (signing.BadSignature, ValueError):
            continue
        if found := rows.filter(key=key).first():
            return mails, found
    raise NotFound("subscription", "")


def unsubscribe(token: str) -> None:
    """No more such mails for that membership. May run twice. Raises NotFound."""
    mails, membership = subscriber(token)
    if not Wish.objects.filter(membership=membership).update(**mails.none):
        Wish(membership=membership, **mails.none).save()
