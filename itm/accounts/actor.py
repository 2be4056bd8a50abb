"""Who acts, for whom, in what role, from where: the first argument of every read and write."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from itm.accounts.models import Membership, Organisation, User
from itm.core.clock import date_at
from itm.core.errors import Forbidden

Via = Literal["page", "field", "file", "api", "command", "sweep"]


@dataclass(frozen=True)
class Actor:
    """A person in one organisation on one day. `today` decides which grants are open; `at` is the
    instant behind it, where the edge gave one. `proved` says that the person showed just now who
    it is."""

    user: User | None
    organisation: Organisation | None
    role: str
    today: date
    via: Via = "page"
    at: datetime | None = None
    proved: bool = False
    # Sites that a link opens to whoever holds it: a reader without person and organisation.
    reads: frozenset[int] = frozenset()
    # Who did it, where a file names another than who hands it in.
    hand: str = ""

    @property
    def organisation_id(self) -> int | None:
        return self.organisation.pk if self.organisation else None

    @property
    def kind(self) -> str:
        return self.organisation.kind if self.organisation else ""

    @property
    def person_key(self) -> uuid.UUID | None:
        return self.user.key if self.user else None

    @property
    def person(self) -> str:
        """As every row and page names who did it; rights are those of `user` alone."""
        name = self.user.name if self.user else "the system"
        return f"{self.hand}, handed in as a file by {name}"[:120] if self.hand else name

    @property
    def organisation_name(self) -> str:
        return self.organisation.name if self.organisation else ""

    def date_at(self, zone: str) -> date:
        """The day on the clocks of that zone; today's where nobody said the hour."""
        return date_at(zone, self.at) if self.at else self.today


def system(today: date, via: Via = "command", at: datetime | None = None) -> Actor:
    """The installation itself: commands and sweeps. Sees nothing through `visible_to`."""
    return Actor(user=None, organisation=None, role="", today=today, via=via, at=at)


def oneself(user: User, at: datetime) -> Actor:
    """A person about its own account, for no organisation. Sees nothing through `visible_to`."""
    return Actor(user=user, organisation=None, role="", today=at.date(), at=at)


def acting(
    membership: Membership, today: date, via: Via = "page", at: datetime | None = None, *,
    proved: bool = False,
) -> Actor:  # fmt: skip
    user, home = membership.user, membership.organisation
    return Actor(user, home, membership.role, today, via, at, proved)


def open_memberships(user: User, today: date) -> list[Membership]:
    """The memberships a person can act under today, first the oldest."""
    rows = user.memberships.select_related("user", "organisation").order_by("pk")
    return [m for m in rows if m.ended_on is None or m.ended_on > today]


def require_kind(actor: Actor, *kinds: str, what: str) -> None:
    """Refuse a verb to an organisation of another kind, with a sentence that says whose it is."""
    if actor.kind not in kinds:
        names = " or ".join(str(Organisation.Kind(k).label).lower() for k in kinds)
        raise Forbidden(f"Only a {names} can {what}.")


# Who answers in an organisation for what holds beyond the day: who works there, what is out of use,
# which rules count.
LEADS = (Membership.Role.SUPERVISOR, Membership.Role.MANAGER)


def leads(actor: Actor) -> bool:
    return actor.role in LEADS


def require_lead(actor: Actor, *, what: str) -> None:
    require_role(actor, *LEADS, what=what)


def require_role(actor: Actor, *roles: str, what: str) -> None:
    if actor.role not in roles:
        names = " or ".join(str(Membership.Role(r).label).lower() for r in roles)
        raise Forbidden(f"Only a {names} can {what}.")
