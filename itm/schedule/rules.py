"""Which rows hold at a site, from when and with which window: the adoptions read together.

What an owner adopts for one site goes before what it adopted for all, and that before what an
authority set. Terms come down the same way: without terms of its own, an adoption holds with those
of the authority above it.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch, Q

from itm.registry.models import Site, SiteAuthority
from itm.schedule.chains import Claim
from itm.schedule.due import Window
from itm.schedule.models import Adoption, Confirmation, Requirement, Terms

AUTHORITY, OWNER, SITE = range(3)
NOBODY: Mapping[int, date | None] = {}
# The same task through all editions of a programme.
Slot = tuple[str, str]


def adoptions_at(site: Site) -> list[Adoption]:
    """All that ever held at the site, with their rows, confirmations and terms."""
    [found] = adoptions_of([site], overseen([site]))
    return found


Oversight = Mapping[int, Mapping[int, date | None]]


def adoptions_of(sites: Sequence[Site], overseers: Oversight) -> list[list[Adoption]]:
    """The same for many sites, in a fixed number of queries."""
    adopters = {site.owner_id for site in sites}.union(*(overseers[site.pk] for site in sites))
    rows = Adoption.objects.filter(
        Q(site__in=[site.pk for site in sites]) | Q(site=None, adopter__in=adopters)
    )
    found = list(
        rows.select_related("programme", "adopter").prefetch_related(
            Prefetch("programme__requirements", Requirement.objects.select_related("programme")),
            "confirmations",
            "terms",
        )
    )
    return [[row for row in found if has_say(row, site, overseers[site.pk])] for site in sites]


def has_say(adoption: Adoption, site: Site, overseers: Mapping[int, date | None]) -> bool:
    if adoption.site_id is not None:
        return adoption.site_id == site.pk
    return adoption.adopter_id == site.owner_id or adoption.adopter_id in overseers


def overseen_until(site: Site) -> Mapping[int, date | None]:
    """By organisation: the last day on which it looks after the site, none without an end."""
    return overseen([site])[site.pk]


def overseen(sites: Sequence[Site]) -> Oversight:
    """The same for many sites, in one query."""
    out: dict[int, dict[int, date | None]] = {site.pk: {} for site in sites}
    for row in SiteAuthority.objects.filter(site__in=out, taken_back_on=None):
        here = out[row.site_id]
        before = here.get(row.organisation_id, row.ended_on)
        ends = [day for day in (before, row.ended_on) if day is not None]
        here[row.organisation_id] = max(ends) if len(ends) == 2 else None
    return out


def rank_of(adoption: Adoption) -> int:
    if adoption.site_id is not None:
        return SITE
    return OWNER if adoption.adopter.kind == "owner" else AUTHORITY


@dataclass(frozen=True)
class Stretch:
    """Days, the last one included where there is one."""

    starts_on: date
    ends_on: date | None

    def within(self, other: "Stretch") -> "Stretch | None":
        ends = [day for day in (self.ends_on, other.ends_on) if day is not None]
        made = Stretch(max(self.starts_on, other.starts_on), min(ends, default=None))
        return None if made.ends_on is not None and made.ends_on < made.starts_on else made


def claims(
    adoptions: Sequence[Adoption], until: Mapping[int, date | None] = NOBODY
) -> dict[Slot, list[Claim]]:
    """What each task is claimed to be, day by day. A row that nobody confirmed claims nothing.

    `until` says how long an authority looks after the site: its word holds no longer there.
    """
    out: dict[Slot, list[Claim]] = defaultdict(list)
    for adoption in adoptions:
        same = [other for other in adoptions if other.programme_id == adoption.programme_id]
        ends = (adoption.ends_on, until.get(adoption.adopter_id))
        last = min((day for day in ends if day is not None), default=None)
        held = Stretch(adoption.starts_on, last)
        for requirement in adoption.programme.requirements.all():
            for stretch in confirmed(requirement, same):
                part = stretch.within(held)
                if part is not None:
                    slot = (adoption.programme.code, requirement.code)
                    out[slot] += on_terms(requirement, part, adoption, same)
    return out


def confirmed(requirement: Requirement, adoptions: Iterable[Adoption]) -> list[Stretch]:
    """When the row stands as somebody answered for it; always, where it was looked up."""
    if not requirement.needs_confirmation:
        return [Stretch(date.min, None)]
    return [
        Stretch(given.confirmed_on, taken_back(given))
        for adoption in adoptions
        for given in adoption.confirmations.all()
        if given.requirement_id == requirement.pk and given.taken_back_on != given.confirmed_on
    ]


def taken_back(given: Confirmation) -> date | None:
    return given.taken_back_on - timedelta(days=1) if given.taken_back_on else None


def on_terms(
    requirement: Requirement, part: Stretch, adoption: Adoption, same: Sequence[Adoption]
) -> list[Claim]:
    """The days cut where terms begin."""
    rank = rank_of(adoption)
    terms = [
        (rank_of(other), found)
        for other in same
        for found in other.terms.all()
        if found.requirement_id == requirement.pk and rank_of(other) <= rank
    ]
    begins = {found.starts_on for _, found in terms if found.starts_on > part.starts_on}
    cuts = [part.starts_on, *sorted(b for b in begins if part.ends_on is None or b <= part.ends_on)]
    out = []
    for place, day in enumerate(cuts):
        ends = cuts[place + 1] - timedelta(days=1) if place + 1 < len(cuts) else part.ends_on
        known = [(r, found.starts_on, found) for r, found in terms if found.starts_on <= day]
        found = max(known, key=lambda one: one[:2], default=None)
        if found is None:
            out.append(Claim(day, ends, rank, requirement, window_of(requirement)))
        elif not found[2].left_out:
            out.append(Claim(day, ends, rank, requirement, window_of(found[2])))
    return out


def window_of(row: Requirement | Terms) -> Window | None:
    """None where no interval brings it on."""
    earliest, interval, latest = row.earliest, row.interval, row.latest
    if earliest is None or interval is None or latest is None:
        return None
    first = row.first_latest if isinstance(row, Requirement) else None
    return Window(earliest, interval, latest, row.unit, first)  # type: ignore[arg-type]
