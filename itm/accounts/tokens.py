"""Tokens of programs: made and revoked by managers, and turned into an actor at the edge.

A token is `itm.<prefix>.<secret>` with 256 random bits in the secret, so one SHA-256 is enough and
nothing about it can be guessed. Only the digest is kept.
"""

import hmac
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from itm.accounts import proving
from itm.accounts.actor import Actor, acting, oneself, open_memberships, require_role
from itm.accounts.digests import digest_of
from itm.accounts.models import ApiToken, Membership, User
from itm.accounts.told import tell
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.figures import day
from itm.core.history import Change
from itm.core.valid import require_valid

LONGEST = timedelta(days=366)
NOTED_EVERY = timedelta(minutes=1)  # a busy program would otherwise write with every look
WHAT = "make, read or revoke tokens"
SCOPES = ApiToken.Scope.choices


@dataclass(frozen=True)
class Bearer:
    """Who asks with a token, and what the token is for."""

    actor: Actor
    scopes: frozenset[str]
    token: ApiToken


def require_manager(actor: Actor) -> None:
    require_role(actor, Membership.Role.MANAGER, what=WHAT)


def tokens(actor: Actor) -> QuerySet[ApiToken]:
    """Those of the organisation, the newest first. Raises Forbidden to whom is no manager."""
    require_manager(actor)
    rows = ApiToken.objects.visible_to(actor)
    return rows.select_related("membership__user", "membership__organisation")


def token(actor: Actor, key: UUID) -> ApiToken:
    row = tokens(actor).filter(key=key).first()
    if row is None:
        raise NotFound("token", key)
    return row


def changes(row: ApiToken) -> QuerySet[Change]:
    """Who made and revoked it. For code that read the token through its scope."""
    return Change.objects.filter(model=row._meta.label, object_key=row.key).order_by("pk")


def stands(row: ApiToken, today: date) -> str:
    """Why it works or does not."""
    member, person = row.membership, row.membership.user
    if row.revoked_at is not None:
        return "revoked"
    if (member.ended_on is not None and member.ended_on <= today) or not person.is_active:
        return "its person left"
    return "ran out" if row.expires_on < today else "works"


@transaction.atomic
def make(
    *, actor: Actor, name: str, scopes: Collection[str], expires_on: date, at: datetime
) -> tuple[ApiToken, str]:
    """The row, and the token that is shown this once.

    Raises Forbidden; Refused proof_needed, expires_early, expires_late, not_valid.
    """
    require_manager(actor)
    proving.require(actor)  # it outlives the session that makes it
    today = at.date()
    if expires_on < today:
        raise Refused("expires_early", "This day is over; choose one that comes.", "expires_on")
    if expires_on > today + LONGEST:
        raise Refused(
            "expires_late",
            f"A token lasts {LONGEST.days} days at most: {today + LONGEST} is the last day.",
            "expires_on",
        )
    text, prefix = _new()
    row = ApiToken(
        membership=_membership(actor), name=name.strip(), prefix=prefix, digest=digest_of(text),
        scopes=" ".join(scope for scope, _ in SCOPES if scope in scopes), made_at=at,
        expires_on=expires_on,
    )  # fmt: skip
    require_valid(row, "name")
    row.save(by=actor)
    tell(actor.user, "token_made", row)
    return row, text


@transaction.atomic
def revoke(*, actor: Actor, row: ApiToken, at: datetime) -> ApiToken:
    """Stops it for good. May run twice. Raises Forbidden."""
    require_manager(actor)
    row = ApiToken.objects.visible_to(actor).select_for_update().get(pk=row.pk)
    if row.revoked_at is None:
        row.revoked_at = at
        row.save(by=actor, verb="revoked")
    return row


def revoke_all(*, user: User, at: datetime, why: str) -> None:
    """Whatever the person ever made, for every organisation. May run twice."""
    rows = ApiToken.objects.filter(membership__user=user, revoked_at=None)
    for row in rows.select_for_update():
        row.revoked_at = at
        row.save(by=oneself(user, at), verb="revoked", text=why)


def _new() -> tuple[str, str]:
    prefix = secrets.token_hex(6)
    return f"itm.{prefix}.{secrets.token_urlsafe(32)}", prefix


def _membership(actor: Actor) -> Membership:
    rows = open_memberships(actor.user, actor.today) if actor.user else []
    found = next((row for row in rows if row.organisation_id == actor.organisation_id), None)
    if found is None:
        raise Forbidden("Only a person of the organisation can make a token for it.")
    return found


def bearer_of(text: str, now: datetime) -> Bearer:
    """Who holds this token. Raises Refused token_unknown, token_revoked, token_ran_out,
    token_person_left; the last three only to who proves to hold it."""
    prefix = text.split(".")[1] if text.count(".") == 2 else ""
    rows = ApiToken.objects.select_related("membership__user", "membership__organisation")
    row = rows.filter(prefix=prefix).first() if prefix.isalnum() else None
    if row is None or not hmac.compare_digest(row.digest, digest_of(text)):
        raise Refused("token_unknown", "This token is not known here; make one in the program.")
    today = now.date()
    match stands(row, today):
        case "revoked":
            raise Refused("token_revoked", "This token was revoked; ask for another one.")
        case "ran out":
            raise Refused(
                "token_ran_out", f"This token worked until {day(row.expires_on)}; make one."
            )
        case "its person left":
            raise Refused(
                "token_person_left",
                "The person who made this token no longer acts for the organisation.",
            )
    _note_use(row, now)
    return Bearer(acting(row.membership, today, via="api", at=now), row.allowed, row)


def _note_use(row: ApiToken, now: datetime) -> None:
    """At most once a minute, and past the history: it changes nothing that anybody decided."""
    since = Q(last_used_at=None) | Q(last_used_at__lte=now - NOTED_EVERY)
    if row.last_used_at is None or row.last_used_at <= now - NOTED_EVERY:
        ApiToken._base_manager.filter(since, pk=row.pk).update(last_used_at=now)
