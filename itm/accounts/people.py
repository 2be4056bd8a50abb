"""Who belongs to an organisation, in which role, and how that ends.

A manager decides, and gives a reason. What a person made stays under the person's name: a
membership that ended is kept, and history holds names by value.
"""

from datetime import date
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from itm.accounts import proving
from itm.accounts.actor import Actor, require_role
from itm.accounts.models import Membership, Organisation
from itm.accounts.told import tell
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import Change

WHAT = "say who belongs to the organisation"
Role = Membership.Role
RANK = {Role.MEMBER: 0, Role.SUPERVISOR: 1, Role.MANAGER: 2}


def require_manager(actor: Actor) -> None:
    require_role(actor, Role.MANAGER, what=WHAT)


def require_rank(actor: Actor, role: str) -> None:
    """Nobody gives a role above one's own."""
    if RANK[Role(role)] > RANK[Role(actor.role)]:
        raise Forbidden(f"A {Role(actor.role).label.lower()} cannot make anybody a {role}.")


def open_on(today: date) -> Q:
    return Q(ended_on=None) | Q(ended_on__gt=today)


def people(actor: Actor) -> QuerySet[Membership]:
    """Of the organisation, those who left too."""
    if actor.organisation_id is None:
        return Membership.objects.none()
    rows = Membership.objects.filter(organisation=actor.organisation_id)
    return rows.select_related("user", "organisation").order_by("user__name", "pk")


def person(actor: Actor, key: UUID) -> Membership:
    row = people(actor).filter(key=key).first()
    if row is None:
        raise NotFound("person", key)
    return row


def changes(row: Membership) -> QuerySet[Change]:
    """How the membership came about and changed. For code that read it through its scope."""
    return Change.objects.filter(model=row._meta.label, object_key=row.key).order_by("pk")


@transaction.atomic
def change_role(*, actor: Actor, row: Membership, role: str, reason: str) -> Membership:
    """What else ends with a lower role: `actions.change_role` is what pages call. May run twice.

    Raises Forbidden, NotFound; Refused proof_needed, ended, last_manager, reason_missing.
    """
    row = _held(actor, row, reason)
    require_rank(actor, role)
    if row.role == Role.MANAGER and role != Role.MANAGER:
        _require_another_manager(row, actor.today, "role")
    if row.role != role:
        row.role = role
        row.save(by=actor, verb="role changed", text=reason.strip())
        _tell(actor, row, "gave_role", "got_role")
    return row


@transaction.atomic
def remove(*, actor: Actor, row: Membership, reason: str) -> Membership:
    """From today on the person sees nothing of the organisation; tokens and calendar end with it.
    What else does: `actions.remove_person` is what pages call.

    Raises Forbidden, NotFound; Refused proof_needed, ended, last_manager, reason_missing.
    """
    row = _held(actor, row, reason)
    if row.role == Role.MANAGER:
        _require_another_manager(row, actor.today, "")
    row.ended_on = actor.today
    row.save(by=actor, verb="removed", text=reason.strip())
    _tell(actor, row, "removed", "was_removed")
    return row


def _tell(actor: Actor, row: Membership, did: str, befell: str) -> None:
    """Who did it, in case it was somebody else, and whom it befell."""
    tell(actor.user, did, row.user)
    if actor.user != row.user:
        tell(row.user, befell, row.organisation)


def _held(actor: Actor, row: Membership, reason: str) -> Membership:
    """The row as it stands now. The organisation is held with it, so that of two managers who take
    each other's role at one moment only one does."""
    require_manager(actor)
    proving.require(actor)
    if not reason.strip():
        raise Refused("reason_missing", "Say why: it stays in the history.", "reason")
    Organisation.objects.select_for_update().get(pk=row.organisation_id)
    row = person(actor, row.key)
    if row.ended_on is not None and row.ended_on <= actor.today:
        raise Refused("ended", f"{row.user} left on {row.ended_on}.")
    return row


def _require_another_manager(row: Membership, today: date, place: str) -> None:
    others = Membership.objects.filter(
        open_on(today), organisation=row.organisation_id, role=Role.MANAGER, user__is_active=True
    ).exclude(pk=row.pk)
    if not others.exists():
        raise Refused(
            "last_manager",
            f"{row.user} is the only manager of {row.organisation}. Make somebody else a manager "
            "first: nobody could invite people any more.",
            place,
        )
