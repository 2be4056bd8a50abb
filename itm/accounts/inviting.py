"""Invitations: asked by a manager, promised as a mail, taken up once by whoever holds its link.

The secret of the link is made when the mail leaves and kept nowhere; only its digest is. So a mail
that is sent a second time carries another link, and the one before stops working.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone

from itm.accounts import proving
from itm.accounts.actor import Actor, acting
from itm.accounts.digests import digest_of
from itm.accounts.models import Invitation, Membership, Organisation, User
from itm.accounts.people import open_on, require_manager, require_rank
from itm.accounts.services import checked
from itm.accounts.told import tell
from itm.core import letters, outbox
from itm.core.errors import NotFound, Refused
from itm.core.history import Change
from itm.core.valid import require_valid

LIFE = timedelta(days=7)  # own choice
MOST_A_DAY = 50  # mails that one organisation may ask for, so that it sends no waves; own choice


def invitations(actor: Actor) -> QuerySet[Invitation]:
    """Those of the organisation, the newest first. Raises Forbidden to whom is no manager."""
    require_manager(actor)
    return Invitation.objects.visible_to(actor).select_related("organisation", "member__user")


def invitation(actor: Actor, key: UUID) -> Invitation:
    row = invitations(actor).filter(key=key).first()
    if row is None:
        raise NotFound("invitation", key)
    return row


def changes(row: Invitation) -> QuerySet[Change]:
    """What became of it. For code that read the invitation through its scope."""
    return Change.objects.filter(model=row._meta.label, object_key=row.key).order_by("pk")


@transaction.atomic
def invite(*, actor: Actor, email: str, role: str, at: datetime, founds: str = "") -> Invitation:
    """Asks this address to join, or to bring the contractor named by `founds`.

    Raises Forbidden; Refused proof_needed, member_already, not_valid, too_many_mails,
    contractor_is_here.
    """
    require_manager(actor)
    require_rank(actor, role)
    proving.require(actor)
    email, founds = email.strip(), " ".join(founds.split())
    if not founds:
        _require_no_member(actor, email)
    elif Organisation.objects.filter(kind="contractor", name__iexact=founds).exists():
        raise Refused(
            "contractor_is_here",
            f"{founds} is here already: engage it, and its own manager adds its people.", "founds",
        )  # fmt: skip
    _require_patience(actor, at)
    row = Invitation(
        organisation=actor.organisation, email=email, role=role, founds=founds, made_at=at,
        expires_at=at + LIFE,
    )  # fmt: skip
    require_valid(row, "email")
    row.save(by=actor, verb="invited")
    tell(actor.user, "invited", row.email)
    _promise(row)
    return row


@transaction.atomic
def send_again(*, actor: Actor, row: Invitation, at: datetime) -> Invitation:
    """Another mail with another link, which lives its full time; the link before ends.

    Raises Forbidden, NotFound; Refused invitation_accepted, invitation_withdrawn, too_many_mails.
    """
    row = _held(actor, row)
    _require_open(row, at, lapsed_too=True)
    _require_patience(actor, at)
    row.mails += 1
    row.expires_at, row.digest = at + LIFE, None
    row.save(by=actor, verb="sent again")
    _promise(row)
    return row


@transaction.atomic
def withdraw(*, actor: Actor, row: Invitation, at: datetime) -> Invitation:
    """Its link opens nothing from now on. May run twice.

    Raises Forbidden, NotFound; Refused invitation_accepted.
    """
    row = _held(actor, row)
    if row.withdrawn_at is None:
        _require_open(row, at, lapsed_too=True)
        row.withdrawn_at = at
        row.save(by=actor, verb="withdrawn")
    return row


def asked_by(actor: Actor, user: User) -> list[Invitation]:
    """Those of the organisation that this person asked for and nobody took up or withdrew, lapsed
    ones too, which would live again when they are sent again. Raises Forbidden."""
    asked = Change.objects.filter(
        model=Invitation._meta.label, verb="invited", person_key=user.key
    ).values("object_key")
    return list(invitations(actor).filter(key__in=asked, accepted_at=None, withdrawn_at=None))


def _held(actor: Actor, row: Invitation) -> Invitation:
    require_manager(actor)
    return Invitation.objects.visible_to(actor).select_for_update().get(pk=row.pk)


def _require_no_member(actor: Actor, email: str) -> None:
    there = Membership.objects.filter(
        open_on(actor.today), organisation=actor.organisation_id, user__email__iexact=email
    ).select_related("user")
    if (member := there.first()) is not None:
        raise Refused(
            "member_already", f"{member.user} with this address belongs to you already.", "email"
        )


def _require_patience(actor: Actor, at: datetime) -> None:
    """Counted in the history, which no deed passes by."""
    asked = Change.objects.filter(
        model=Invitation._meta.label, verb__in=("invited", "sent again"),
        object_key__in=Invitation.objects.visible_to(actor).values("key"),
        at__gt=at - timedelta(days=1),
    )  # fmt: skip
    if asked.count() >= MOST_A_DAY:
        raise Refused(
            "too_many_mails",
            f"{MOST_A_DAY} invitations went out within a day, the most there are: go on tomorrow.",
            "email",
        )


# The mail ----------------------------------------------------------------------------------------


def _promise(row: Invitation) -> None:
    outbox.add(
        "send_invitation", once=f"invitation {row.key} {row.mails}",
        invitation_key=str(row.key), mail=row.mails,
    )  # fmt: skip


def send_invitation(invitation_key: str, mail: int) -> None:
    """The promised job. Run twice it sends twice, and the link of the second works.

    Nothing is sent of what was withdrawn, taken up or sent again since, or has lapsed meanwhile.
    """
    rows = Invitation.objects.select_related("organisation").filter(key=UUID(invitation_key))
    row, now = rows.get(), timezone.now()
    if row.mails != mail or row.stands(now) != "open":
        return
    secret = secrets.token_urlsafe(32)
    mine = Invitation._base_manager.filter(pk=row.pk, mails=mail, accepted_at=None)
    mine.update(digest=digest_of(secret), sent_at=now)
    asked = changes(row).filter(verb__in=("invited", "sent again")).last()
    context = {
        "row": row,
        "by": asked.person if asked else row.organisation.name,
        "role": row.get_role_display().lower(),
        "until": row.expires_at,
        "link": letters.address("join", secret),
    }
    letters.send(
        to=row.email,
        subject=f"{row.organisation.name} invites you to Foam ITM",
        body=render_to_string("mail/invitation.txt", context),
        name=f"invitation.{row.key}.{mail}",
    )


# Taking it up ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Joining:
    """What the link of a mail leads to: the invitation, and the account that has its address."""

    invitation: Invitation
    known: User | None


def joining(token: str, now: datetime) -> Joining:
    """Raises NotFound for a link that was never sent or was followed by another; Refused
    invitation_accepted, invitation_withdrawn, invitation_lapsed to whoever holds it."""
    rows = Invitation.objects.select_related("organisation")
    return _joining(rows.filter(digest=digest_of(token)).first(), now)


def _joining(row: Invitation | None, now: datetime) -> Joining:
    if row is None:
        raise NotFound("invitation", "")
    _require_open(row, now)
    return Joining(row, User.objects.filter(email__iexact=row.email).first())


def _require_open(row: Invitation, now: datetime, *, lapsed_too: bool = False) -> None:
    match row.stands(now):
        case "accepted":
            raise Refused("invitation_accepted", "This invitation was accepted already: sign in.")
        case "withdrawn":
            raise Refused("invitation_withdrawn", "This invitation was withdrawn.")
        case "lapsed" if not lapsed_too:
            raise Refused(
                "invitation_lapsed",
                "This invitation has lapsed. Ask whoever invited you to send it again.",
            )


@transaction.atomic
def accept(
    *, token: str, at: datetime, name: str = "", password: str = "", founds: str = ""
) -> tuple[Actor, Invitation]:
    """Joins with the account of the invited address, or with a new one under name and password.

    Works once: the row is held, so the second of two at one moment hears that it was accepted.
    Raises NotFound; Refused invitation_…, not_valid, account_closed, name_missing.
    """
    rows = Invitation.objects.select_for_update(of=("self",)).select_related("organisation")
    found = _joining(rows.filter(digest=digest_of(token)).first(), at)
    row, user = found.invitation, found.known
    if user is not None and not user.is_active:
        raise Refused("account_closed", "The account with this address is closed.")
    fresh = user is None
    if user is None:
        user = User(email=row.email, name=" ".join(name.split()))
        user.set_password(password)
    home = _founded(row, founds) if row.founds else row.organisation
    by = Actor(user, home, row.role, at.date(), at=at)
    if fresh:
        checked(user, password)
        user.save(by=by, verb="joined")
    if home.pk is None:
        home.save(by=by, verb="founded")
    member = _membership(user, home, row.role, by)
    row.accepted_at, row.member = at, member
    row.save(by=by, verb="accepted")
    return acting(member, at.date(), at=at), row


def _founded(row: Invitation, founds: str) -> Organisation:
    """The contractor under the name that its own people give it."""
    home = Organisation(name=" ".join((founds or row.founds).split()), kind="contractor")
    try:
        checked(home)
    except Refused as refusal:
        raise Refused(refusal.code, refusal.sentence, "founds") from refusal
    return home


def _membership(user: User, home: Organisation, role: str, by: Actor) -> Membership:
    there = Membership.objects.filter(open_on(by.today), user=user, organisation=home).first()
    if there is not None:
        return there
    row = Membership(user=user, organisation=home, role=role)
    checked(row)
    row.save(by=by, verb="joined")
    return row
