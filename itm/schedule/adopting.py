"""Writes about programmes: adopt, confirm, tighten, loosen with consent, end.

What follows for the duties is an action's business: it knows the records.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Q

from itm.accounts.actor import Actor, require_kind, require_lead
from itm.accounts.models import Organisation
from itm.core.errors import Forbidden, Refused
from itm.core.figures import day
from itm.registry.models import Site, SiteAuthority
from itm.registry.services import keep, require_in_use, require_own
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Confirmation, Consent, Programme, Requirement, Terms
from itm.schedule.rules import AUTHORITY, claims, rank_of, window_of

# Four years: every month end, leap day and weekday that a window can meet.
EVERY_DAY = [date(2024, 1, 1) + timedelta(days=n) for n in range(1461)]


WHAT = "adopt a programme, settle its rows or end it"


@dataclass(frozen=True)
class Agreed:
    """What the authority agreed to, as the paper says it."""

    authority: Organisation
    what: str
    person: str
    given_on: date
    paper: str


def require_may_adopt(actor: Actor) -> None:
    require_kind(actor, "owner", "authority", what="adopt a programme")
    require_lead(actor, what=WHAT)


@transaction.atomic
def adopt(
    *, actor: Actor, programme: Programme, starts_on: date, site: Site | None = None
) -> Adoption:
    """From that day on; an earlier edition ends the day before, with its duties kept as they were.

    Raises Forbidden; Refused holds_anyway, adopted_already, before_the_last, edition_set.
    """
    require_may_adopt(actor)
    if site is not None:
        require_own(actor, site, "adopt a programme for a site")
        require_in_use(site, "site")
    if programme.everywhere:
        raise Refused("holds_anyway", "This one holds everywhere without being adopted.")
    require_edition(actor, programme, site, starts_on)
    before = Adoption.objects.filter(
        programme__code=programme.code, adopter=actor.organisation_id, site=site, ends_on=None
    ).first()
    if before is not None:
        if before.programme_id == programme.pk:
            raise Refused(
                "adopted_already", f"{programme} is adopted since {day(before.starts_on)}."
            )
        if starts_on <= before.starts_on:
            raise Refused(
                "before_the_last",
                f"The edition before it holds from {day(before.starts_on)}; choose a later day.",
                "starts_on",
            )
        keep(before, {"ends_on": starts_on - timedelta(days=1)}, by=actor, verb="followed")
    row = Adoption(programme=programme, adopter=actor.organisation, site=site)
    return keep(row, {"starts_on": starts_on}, by=actor, verb="adopted")


def require_edition(actor: Actor, programme: Programme, site: Site | None, on: date) -> None:
    """The authority chooses the edition for its jurisdiction."""
    if actor.kind != "owner":
        return
    overseers = overseers_of(actor.organisation_id, site.pk if site else None, actor.today)
    set_by = Adoption.objects.filter(
        Q(ends_on=None) | Q(ends_on__gte=on),
        adopter__in=overseers, site=None, programme__code=programme.code,
    ).exclude(programme=programme)  # fmt: skip
    other = set_by.select_related("adopter", "programme").first()
    if other is not None:
        raise Refused(
            "edition_set",
            f"{other.adopter} has set {other.programme} for its jurisdiction; adopt that edition.",
        )


def overseers_of(owner: int | None, site: int | None, on: date) -> Any:
    """Authorities of one site of the owner, or of all, on a day; a subquery of organisations."""
    rows = SiteAuthority.objects.covering(on).filter(site__owner=owner)
    return (rows.filter(site=site) if site else rows).values("organisation")


def sites_under(adoption: Adoption) -> list[Site]:
    """Sites in use at which the adoption has a say."""
    rows = Site.objects.filter(retired_on=None).order_by("pk")
    if adoption.site_id is not None:
        rows = rows.filter(pk=adoption.site_id)
    elif adoption.adopter.kind == "owner":
        rows = rows.filter(owner=adoption.adopter_id)
    else:
        rows = rows.filter(authorities=adoption.adopter_id).distinct()
    return list(rows.select_related("owner"))


def require_adopter(actor: Actor, adoption: Adoption, what: str) -> None:
    if adoption.adopter_id != actor.organisation_id:
        raise Forbidden(f"Only {adoption.adopter}, who adopted it, can {what}.")
    require_lead(actor, what=WHAT)


def require_row(adoption: Adoption, requirement: Requirement) -> None:
    if requirement.programme_id != adoption.programme_id:
        raise Refused("other_programme", "This row belongs to another programme.")
    if adoption.ends_on is not None:
        raise Refused(
            "ended", f"This adoption ends on {day(adoption.ends_on)}; nothing is changed."
        )


@transaction.atomic
def confirm(
    *,
    actor: Actor,
    adoption: Adoption,
    requirements: Sequence[Requirement],
    checked_against: str,
    today: date,
) -> list[Confirmation]:
    """Answer for rows that nobody looked up: all of them or none. May run twice.

    Raises Forbidden; Refused nothing_chosen, not_said, no_interval, other_programme, ended.
    """
    require_adopter(actor, adoption, "confirm its rows")
    if not requirements:
        raise Refused("nothing_chosen", "Choose the rows that you held against it.", "rows")
    if not checked_against.strip():
        raise Refused(
            "not_said", "Say which document the rows were held against, with its edition.",
            "checked_against",
        )  # fmt: skip
    out = []
    for requirement in requirements:
        require_row(adoption, requirement)
        if not requirement.brings_duties and not timed_by_terms(adoption, requirement):
            raise Refused(
                "no_interval",
                f"“{requirement}” has no interval here: set the one that your edition says first.",
                "rows",
            )
        given = Confirmation.objects.filter(
            adoption=adoption, requirement=requirement, taken_back_on=None
        ).first()
        values = {"confirmed_on": today, "person": actor.person}
        out.append(
            given
            or keep(
                Confirmation(adoption=adoption, requirement=requirement),
                {**values, "checked_against": checked_against.strip()},
                by=actor,
                verb="confirmed",
            )
        )
    return out


def timed_by_terms(adoption: Adoption, requirement: Requirement) -> bool:
    rows = Terms.objects.filter(adoption=adoption, requirement=requirement, left_out=False)
    return rows.exists()


def take_back(*, actor: Actor, confirmation: Confirmation, today: date) -> Confirmation:
    """From that day on the row asks nothing any more. May run twice."""
    require_adopter(actor, confirmation.adoption, "take a confirmation back")
    if confirmation.taken_back_on is not None:
        return confirmation
    return keep(confirmation, {"taken_back_on": today}, by=actor, verb="taken back")


@transaction.atomic
def set_terms(
    *,
    actor: Actor,
    adoption: Adoption,
    requirement: Requirement,
    starts_on: date,
    window: Window | None,
    agreed: Agreed | None = None,
) -> Terms:
    """Tighten a row from a day on; `window` none leaves it out. Anything looser than what holds
    above it needs the authority's consent.

    Raises Forbidden; Refused needs_consent, other_programme, ended, not_timed, wrong_authority.
    """
    require_adopter(actor, adoption, "set its terms")
    require_row(adoption, requirement)
    if window is not None and requirement.brings_duties and not requirement.is_timed:
        raise Refused("not_timed", "An event brings this row on; it has no interval to set.")
    if starts_on < adoption.starts_on:
        raise Refused(
            "before_adoption", f"It was adopted from {day(adoption.starts_on)} on.", "starts_on"
        )
    base = base_window(adoption, requirement, starts_on)
    loosens = window is None or (base is not None and looser(window, base))
    if loosens and agreed is None:
        raise Refused(
            "needs_consent",
            "This asks for less than the row does. Note the authority's consent: what, by whom, on "
            "which day and on what paper.",
            "paper",
        )
    consent = note_consent(actor, adoption, requirement, agreed) if loosens and agreed else None
    figures = {"unit": window.unit if window else requirement.unit, "left_out": window is None}
    for name in ("interval", "earliest", "latest"):
        figures[name] = getattr(window, name) if window else None
    row = Terms(adoption=adoption, requirement=requirement, consent=consent)
    return keep(row, {**figures, "starts_on": starts_on}, by=actor, verb="set terms")


def base_window(adoption: Adoption, requirement: Requirement, on: date) -> Window | None:
    """What the row asks above this adoption: the authority's terms where it set them, else its
    own figures."""
    above: list[Adoption] = []
    if rank_of(adoption) != AUTHORITY:
        above = list(
            Adoption.objects.filter(
                adopter__in=overseers_of(adoption.adopter_id, adoption.site_id, on), site=None,
                programme=adoption.programme_id,
            ).select_related("programme", "adopter")
        )  # fmt: skip
    slot = (adoption.programme.code, requirement.code)
    held = [
        claim.window
        for claim in claims(above).get(slot, [])
        if claim.starts_on <= on and (claim.ends_on is None or on <= claim.ends_on)
    ]
    return next((window for window in held if window), window_of(requirement))


def looser(new: Window, old: Window) -> bool:
    """Whether some day gets a later due date or last day, or may be done earlier for the same due
    date. Asked of every day of four years, since months and weeks cannot be compared as numbers."""
    return any(
        new.closes(day) > old.closes(day)
        or new.due(day) > old.due(day)
        or (new.due(day) == old.due(day) and new.opens(day) < old.opens(day))
        for day in EVERY_DAY
    )


def note_consent(
    actor: Actor, adoption: Adoption, requirement: Requirement | None, agreed: Agreed
) -> Consent:
    """Refused wrong_authority when it has no say at the site."""
    if not oversees(agreed.authority, adoption, actor.today):
        raise Refused(
            "wrong_authority",
            f"{agreed.authority} does not look after every site that this touches. Adopt the "
            "programme for the site itself, and note the consent there.",
            "authority",
        )
    row = Consent(adoption=adoption, requirement=requirement, authority=agreed.authority)
    values: dict[str, Any] = {
        name: getattr(agreed, name) for name in ("what", "person", "given_on", "paper")
    }
    return keep(row, values, by=actor, verb="noted")


def oversees(authority: Organisation, adoption: Adoption, on: date) -> bool:
    """Whether the authority has a say wherever any authority has one."""
    if authority.pk == adoption.adopter_id:
        return True
    rows = SiteAuthority.objects.covering(on).filter(site__owner=adoption.adopter_id)
    rows = rows.filter(site=adoption.site_id) if adoption.site_id else rows
    its = set(rows.filter(organisation=authority).values_list("site", flat=True))
    return bool(its) and its >= set(rows.values_list("site", flat=True))


@transaction.atomic
def end(
    *, actor: Actor, adoption: Adoption, ends_on: date, agreed: Agreed | None = None
) -> Adoption:
    """Nothing of it is asked after that day. Where an authority looks after the site, it agrees.

    Raises Forbidden; Refused needs_consent, not_valid.
    """
    require_adopter(actor, adoption, "end it")
    overseers = overseers_of(adoption.adopter_id, adoption.site_id, actor.today)
    if agreed is None and overseers.exists():
        raise Refused(
            "needs_consent",
            "An authority looks after the site. Note its consent: what, by whom, on which day and "
            "on what paper. A newer edition needs none: adopt it, and this one ends by itself.",
            "paper",
        )
    if agreed is not None:
        note_consent(actor, adoption, None, agreed)
    return keep(adoption, {"ends_on": ends_on}, by=actor, verb="ended")
