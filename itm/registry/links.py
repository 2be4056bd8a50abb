"""Links under which somebody without an account reads: made and revoked by managers of an owner,
and turned into an actor at the edge."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Count, Max, QuerySet

from itm.accounts import entrance, proving
from itm.accounts.actor import Actor, require_kind, require_role
from itm.accounts.digests import digest_of
from itm.accounts.models import Membership, Try, User
from itm.accounts.told import tell
from itm.core.errors import NotFound, Refused
from itm.core.history import Change
from itm.core.valid import require_valid
from itm.registry.models import LinkUse, ReadLink, Site
from itm.registry.services import require_own

LONGEST = timedelta(days=366)  # own choice: the terms of insurers are years
WHAT = "make, read or revoke links for readers"
LISTED = 100  # uses on the page of a link; own choice


def require_manager(actor: Actor) -> None:
    require_kind(actor, "owner", what=WHAT)
    require_role(actor, Membership.Role.MANAGER, what=WHAT)


def links(actor: Actor) -> QuerySet[ReadLink]:
    """Those of the owner, the newest first, with `used` and `last_used_at`. Raises Forbidden."""
    require_manager(actor)
    rows = ReadLink.objects.visible_to(actor).prefetch_related("sites")
    return rows.annotate(used=Count("uses"), last_used_at=Max("uses__at"))


def link(actor: Actor, key: UUID) -> ReadLink:
    """Raises NotFound to strangers, Forbidden to who belongs to the owner and manages nothing."""
    if not ReadLink.objects.visible_to(actor).filter(key=key).exists():
        raise NotFound("link", key)
    return links(actor).get(key=key)


def changes(row: ReadLink) -> QuerySet[Change]:
    """Who made and revoked it. For code that read the link through its scope."""
    return Change.objects.filter(model=row._meta.label, object_key=row.key).order_by("pk")


def uses(row: ReadLink) -> list[LinkUse]:
    """The newest. For code that read the link through its scope."""
    return list(row.uses.order_by("-at", "-pk")[:LISTED])


@transaction.atomic
def make(
    *, actor: Actor, name: str, sites: Sequence[Site], ends_on: date, at: datetime
) -> tuple[ReadLink, str]:
    """The row, and the secret that is shown this once.

    Raises Forbidden; Refused proof_needed, no_sites, ends_early, ends_late, not_valid.
    """
    require_manager(actor)
    proving.require(actor)  # it outlives the session that makes it
    today = at.date()
    if not sites:
        raise Refused("no_sites", "Tick the sites that the link opens.", "sites")
    if ends_on < today:
        raise Refused("ends_early", "This day is over; choose one that comes.", "ends_on")
    if ends_on > today + LONGEST:
        last = today + LONGEST
        raise Refused("ends_late", f"A link lasts a year at most: until {last}.", "ends_on")
    for site in sites:
        require_own(actor, site, "open a site to readers")
    secret = secrets.token_urlsafe(32)
    row = ReadLink(
        organisation=actor.organisation, name=name.strip(), digest=digest_of(secret), made_at=at,
        ends_on=ends_on,
    )  # fmt: skip
    require_valid(row, "name")
    row.save(by=actor, text="opens " + ", ".join(site.name for site in sites))
    row.sites.set(sites)
    tell(actor.user, "link_made", row)
    return row, secret


@transaction.atomic
def revoke(*, actor: Actor, row: ReadLink, at: datetime) -> ReadLink:
    """Closes it for good. May run twice. Raises Forbidden."""
    require_manager(actor)
    row = ReadLink.objects.visible_to(actor).select_for_update().get(pk=row.pk)
    if row.revoked_at is None:
        row.revoked_at = at
        row.save(by=actor, verb="revoked")
    return row


def made_by(actor: Actor, user: User) -> list[ReadLink]:
    """Those of the organisation that this person made and that still open. Raises Forbidden."""
    made = Change.objects.filter(
        model=ReadLink._meta.label, verb="created", person_key=user.key
    ).values("object_key")
    rows = links(actor).filter(key__in=made)
    return [row for row in rows if row.stands(actor.today) == "works"]


@dataclass(frozen=True)
class Reader:
    """Whoever holds a link: what it opens, and until when."""

    actor: Actor
    link: ReadLink


def reader_of(secret: str, *, caller: str, now: datetime) -> Reader:
    """Raises NotFound for a link that was never made; Refused link_revoked, link_ran_out,
    too_many_tries. Links that are not there count together, for each caller."""
    rows = ReadLink.objects.select_related("organisation")
    row = rows.filter(digest=digest_of(secret)).first()
    entrance.begin(
        what=Try.What.LINK, account=str(row.key) if row else caller, caller=caller, at=now
    )
    if row is None:
        raise NotFound("link", "")
    match row.stands(now.date()):
        case "revoked":
            raise Refused("link_revoked", f"{row.organisation} has closed this link.")
        case "ran out":
            raise Refused("link_ran_out", f"This link opened until {row.ends_on}.")
    opened = row.sites.filter(owner=row.organisation_id).values_list("pk", flat=True)
    actor = Actor(None, None, "", now.date(), at=now, reads=frozenset(opened))
    return Reader(actor, row)


def note_use(reader: Reader, what: str, at: datetime) -> None:
    """For the owner, who sees what is read and when."""
    LinkUse.objects.create(link=reader.link, at=at, what=what[:200])
