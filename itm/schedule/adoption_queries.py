"""What a person may read of programmes and adoptions."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.errors import NotFound
from itm.registry.models import Site, SiteAuthority
from itm.schedule.chains import Segment, segments
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Confirmation, Programme, Requirement, Terms
from itm.schedule.models.programmes import LOOKED_UP
from itm.schedule.rules import adoptions_at, claims, overseen_until, window_of


def programmes() -> QuerySet[Programme]:
    """All of them: rules are public. With `rows` and `to_confirm` counted."""
    asks = Count("requirements", filter=~Q(requirements__confidence__in=LOOKED_UP))
    rows = Programme.objects.annotate(rows=Count("requirements"), to_confirm=asks)
    return rows.order_by("-everywhere", "name", "edition", "pk")


def programme(pk: int) -> Programme:
    row = programmes().filter(pk=pk).first()
    if row is None:
        raise NotFound("programme", pk)
    return row


def requirement(adoption: Adoption, pk: int) -> Requirement:
    row = Requirement.objects.filter(programme=adoption.programme_id, pk=pk).first()
    if row is None:
        raise NotFound("row of this programme", pk)
    return row


def adoptions(actor: Actor) -> QuerySet[Adoption]:
    rows = Adoption.objects.visible_to(actor)
    return rows.select_related("programme", "adopter", "site__owner")


def adoption(actor: Actor, key: UUID) -> Adoption:
    row = adoptions(actor).filter(key=key).first()
    if row is None:
        raise NotFound("adoption", key)
    return row


def confirmation(actor: Actor, key: UUID) -> Confirmation:
    rows = Confirmation.objects.visible_to(actor).select_related(
        "adoption__adopter", "adoption__programme", "adoption__site", "requirement"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("confirmation", key)
    return row


def touching(site: Site) -> Q:
    """Adoptions that have, had or will have a say at the site."""
    return Q(pk__in=[row.pk for row in adoptions_at(site)])


def own_sites(actor: Actor) -> QuerySet[Site]:
    rows = Site.objects.visible_to(actor).filter(retired_on=None)
    return rows.filter(owner=actor.organisation_id).order_by("name", "pk")


def authorities_over(held: Adoption) -> QuerySet[Organisation]:
    """Those whose consent can be noted."""
    rows = SiteAuthority.objects.filter(site__owner=held.adopter_id)
    rows = rows.filter(site=held.site_id) if held.site_id else rows
    return Organisation.objects.filter(
        Q(pk__in=rows.values("organisation")) | Q(pk=held.adopter_id, kind="authority")
    )


@dataclass(frozen=True)
class Row:
    """One row of an adoption as it stands today."""

    requirement: Requirement
    confirmation: Confirmation | None
    terms: Terms | None

    @property
    def waits(self) -> bool:
        return self.requirement.needs_confirmation and self.confirmation is None

    @property
    def window(self) -> Window | None:
        if self.terms is not None:
            return None if self.terms.left_out else window_of(self.terms)
        return window_of(self.requirement)

    @property
    def left_out(self) -> bool:
        return self.terms is not None and self.terms.left_out


def rows_of(held: Adoption, today: date) -> list[Row]:
    given = {one.requirement_id: one for one in held.confirmations.filter(taken_back_on=None)}
    terms: dict[int, Terms] = {}
    rows = held.terms.select_related("consent__authority", "consent__adoption")
    for one in rows.filter(starts_on__lte=today).order_by("starts_on"):
        terms[one.requirement_id] = one
    return [
        Row(one, given.get(one.pk), terms.get(one.pk)) for one in held.programme.requirements.all()
    ]


@dataclass(frozen=True)
class Held:
    """A row that holds at a site, since when, until when, with which window."""

    requirement: Requirement
    window: Window | None
    since: date
    until: date | None


def held_at(site: Site, today: date) -> list[Held]:
    """What is asked at the site today or from a later day on, by programme."""
    out: list[Held] = []
    for found in claims(adoptions_at(site), overseen_until(site)).values():
        parts = segments(found)
        for place, part in enumerate(parts):
            until = ends(parts, place)
            if part.rule is not None and (until is None or until >= today):
                out.append(Held(part.rule, part.window, part.starts_on, until))
    return sorted(out, key=lambda one: (str(one.requirement.programme), one.requirement.position))


def ends(parts: Sequence[Segment], place: int) -> date | None:
    return parts[place + 1].starts_on - timedelta(days=1) if place + 1 < len(parts) else None


def everywhere() -> QuerySet[Requirement]:
    """Rows that hold where nothing else was adopted for the same task."""
    return Requirement.objects.filter(programme__everywhere=True).select_related("programme")
