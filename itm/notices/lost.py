"""A mail that was given up: whoever belongs to the organisation of its reader is told, because what
was promised never arrived. May run twice.

What the mail was about stands in the product; here stands who did not get it, and which sort it
was.
"""

from collections.abc import Iterator, Sequence
from uuid import UUID

from django.utils import timezone

from itm.accounts.actor import Actor
from itm.accounts.models import Invitation, Membership
from itm.notices.models import News

AT_ONCE, ALARM = "about an impairment or an order", "about a notice clock that ran out"
SUMMARY, ACCOUNT = "with the weekly summary", "about the account or its password"
INVITATION = "with an invitation"


def readers_unknown(**_: str) -> None:
    """Who it was for was never worked out; /readyz counts it, and the news hold what it was of."""


def at_once_lost(news_key: str, membership_key: str) -> None:
    _of_member(membership_key, AT_ONCE, f"{news_key} {membership_key}")


def alarm_lost(step_key: str, membership_key: str) -> None:
    _of_member(membership_key, ALARM, f"{step_key} {membership_key}")


def summary_lost(membership_key: str, day: str) -> None:
    _of_member(membership_key, SUMMARY, f"{membership_key} {day}")


def reset_lost(user_key: str, mail: str) -> None:
    _of_person(user_key, mail)


def told_lost(user_key: str, what: str, mail: str, of: str = "") -> None:
    _of_person(user_key, mail)


def invitation_lost(invitation_key: str, mail: int) -> None:
    row = Invitation.objects.filter(key=UUID(invitation_key)).first()
    if row is not None and row.mails == mail:
        _say(row.organisation_id, row.key, INVITATION, f"{row.key} {mail}")


def _of_member(membership_key: str, what: str, source: str) -> None:
    row = Membership.objects.filter(key=UUID(membership_key), ended_on=None).first()
    if row is not None:
        _say(row.organisation_id, row.key, what, source)


def _of_person(user_key: str, mail: str) -> None:
    """Told in every organisation of the person, since the person is told by none of the mails."""
    if user_key:
        for row in Membership.objects.filter(user__key=UUID(user_key), ended_on=None):
            _say(row.organisation_id, row.key, ACCOUNT, f"{mail} {row.pk}")


def _say(to: int, thing: UUID, what: str, source: str) -> None:
    kind = News.Kind.MAIL_LOST
    News._base_manager.get_or_create(
        source=f"lost {source}",
        defaults={
            "kind": kind, "subject": "people", "to_id": to, "thing": thing, "note": what,
            "at": timezone.now(),
        },
    )  # fmt: skip


def told_parts(actor: Actor, rows: Sequence[News]) -> Iterator[tuple[News, str]]:
    """Of each what never left, and to whom, as far as the reader may see that."""
    keys = {row.thing for row in rows}
    members = Membership.objects.filter(organisation=actor.organisation_id, key__in=keys)
    names = {one.key: str(one.user) for one in members.select_related("user")}
    if actor.role == "manager":
        asked = Invitation.objects.visible_to(actor).filter(key__in=keys)
        names |= {one.key: one.email for one in asked}
    for row in rows:
        to = names.get(row.thing, "somebody")
        yield row, f"{to} never got a mail {row.note}: see what it says in the product"
