"""Notice clocks: which hold at a site, when they run out, and who has answered them."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor, require_lead
from itm.accounts.models import Organisation
from itm.core.clock import date_at
from itm.core.errors import Forbidden, Refused
from itm.core.figures import instant
from itm.findings.models import ClockAdoption, ImpairedSystem, Impairment, NoticeClock, Step
from itm.registry.models import Site, SiteAuthority

A_DAY = timedelta(days=1)
Span = tuple[datetime, datetime | None]  # out from, back at; none while it is out


# When ---------------------------------------------------------------------------------------------


def runs_out_at(clock: NoticeClock, began: datetime, spans: Iterable[Span]) -> datetime:
    """The instant at which the hours are reached, if the system stays out. Pure.

    Without a stretch they count from the beginning. With one they are summed over every time out
    inside any stretch of that length that ends in this impairment.
    """
    hours = timedelta(hours=clock.hours)
    if clock.within_hours is None:
        return began + hours
    stretch = timedelta(hours=clock.within_hours)
    # The sum within the stretch grows while the system is out unless an earlier time leaves it at
    # the same rate, so the first instant is found by walking from edge to edge.
    earlier = merged([(a, b) for a, b in spans if a < began], began)
    edges = sorted({e + stretch for span in earlier for e in span if e + stretch > began})
    now, held = began, _held(earlier, began - stretch, began)
    if held >= hours:
        return began
    for edge in [*edges, began + stretch + hours]:
        leaves = any(a <= now - stretch < b for a, b in earlier)
        if not leaves and held + (edge - now) >= hours:
            return now + (hours - held)
        if not leaves:
            held += edge - now
        now = edge
    return began + hours


def merged(spans: Iterable[Span], until: datetime) -> list[tuple[datetime, datetime]]:
    """In order, none overlapping: two impairments at once are out once."""
    out: list[tuple[datetime, datetime]] = []
    for a, b in sorted((a, min(b or until, until)) for a, b in spans):
        if a >= b:
            continue
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return out


def _held(
    spans: Sequence[tuple[datetime, datetime]], since: datetime, until: datetime
) -> timedelta:
    parts = [min(b, until) - max(a, since) for a, b in spans if b > since and a < until]
    return sum(parts, timedelta())


ANSWERS = {
    NoticeClock.Asks.TOLD: Step.Verb.TOLD, NoticeClock.Asks.ARRANGED: Step.Verb.ARRANGED,
}  # fmt: skip
BEFORE = timedelta(days=1)  # people are told of planned work so long before at most; own choice
LATE_PART = 4  # of its hours the last quarter; own choice


def answers_from(clock: NoticeClock, at: datetime, began: datetime) -> datetime:
    """From when on a line answers a clock that runs out at this instant. Pure.

    What stands in may do so from the beginning. Who is told after so many hours has to hear that
    the system is still out, which nobody can know when it has only gone out.
    """
    if clock.asks == NoticeClock.Asks.TOLD and clock.hours:
        return max(began, at - timedelta(hours=clock.hours) / LATE_PART)
    return began - BEFORE


@dataclass(frozen=True)
class Running:
    """One clock on one impairment. `told` is the line that answers it, `answers_from` when the
    first one can."""

    clock: NoticeClock
    at: datetime
    told: Step | None
    over: bool
    answers_from: datetime

    @property
    def sounds(self) -> bool:
        """It has run out and nothing that it asks for is noted."""
        return self.over and self.told is None


def running(impairments: Collection[Impairment], now: datetime) -> dict[int, list[Running]]:
    """By primary key of the impairment; four queries however many there are. None on what was
    started by mistake."""
    impairments = [row for row in impairments if row.taken_back_at is None]
    sites = {row.site_id for row in impairments}
    held: dict[int, list[NoticeClock]] = {}
    for one in in_force(sites, now):
        if one.clock not in held.setdefault(one.site_id, []):
            held[one.site_id].append(one.clock)
    lines: dict[tuple[int | None, int | None, str], list[Step]] = {}
    said = Step.objects.filter(impairment__in=impairments, verb__in=ANSWERS.values())
    for step in said.exclude(clock=None).order_by("happened_at", "pk"):
        lines.setdefault((step.impairment_id, step.clock_id, step.verb), []).append(step)
    spans = _spans([row for row in impairments if held.get(row.site_id)])
    out: dict[int, list[Running]] = {}
    for row in impairments:
        until = row.ended_at or now
        for clock in held.get(row.site_id, []):
            each = spans.get(row.pk) or [[]]
            at = min(runs_out_at(clock, row.started_at, one) for one in each)
            if row.ended_at is not None and at > until:
                continue  # it was back before
            since = answers_from(clock, at, row.started_at)
            there = lines.get((row.pk, clock.pk, ANSWERS[NoticeClock.Asks(clock.asks)]), ())
            told = next(
                (one for one in there if one.happened_at and one.happened_at >= since), None
            )
            out.setdefault(row.pk, []).append(Running(clock, at, told, at <= until, since))
    return out


def asked_of(row: Impairment, asks: str, now: datetime) -> QuerySet[NoticeClock]:
    """Clocks that hold at its site and ask this."""
    held = [one.clock_id for one in in_force([row.site_id], now)]
    return NoticeClock.objects.filter(pk__in=held, asks=asks)


def require_answer(
    row: Impairment, clock: NoticeClock, asks: str, when: datetime, at: datetime
) -> None:
    """Whether a line answers the clock that it names. Raises Refused asks_other, too_early."""
    if clock.asks != asks:
        other = "what was arranged" if asks == NoticeClock.Asks.TOLD else "who was told"
        raise Refused(
            "asks_other", f"“{clock}” asks that {clock.get_asks_display()}: note {other}.", "clock"
        )
    one = next((one for one in running([row], at).get(row.pk, []) if one.clock == clock), None)
    if one is not None and when < one.answers_from:
        zone = row.site.time_zone
        raise Refused(
            "too_early",
            f"“{clock}” runs out on {instant(one.at, zone)} and is answered from "
            f"{instant(one.answers_from, zone)} on. Note this without the clock, and again then.",
            "clock",
        )


def _spans(impairments: Sequence[Impairment]) -> dict[int, list[list[Span]]]:
    """Of each impairment, for each of its systems, when that was out within a week before it."""
    if not impairments:
        return {}
    keys = [row.pk for row in impairments]
    systems: dict[int, set[int]] = {}
    pairs = ImpairedSystem.objects.filter(impairment__in=keys)
    for impairment, system in pairs.values_list("impairment", "system"):
        systems.setdefault(impairment, set()).add(system)
    since = min(row.started_at for row in impairments) - timedelta(days=7)
    every = ImpairedSystem.objects.filter(
        system__in=set().union(*systems.values()), impairment__taken_back_at=None
    ).filter(Q(back_at=None) | Q(back_at__gt=since))
    by_system: dict[int, list[Span]] = {}
    for system, a, b in every.values_list("system", "impairment__started_at", "back_at"):
        by_system.setdefault(system, []).append((a, b))
    return {
        row.pk: [by_system.get(one, []) for one in sorted(systems.get(row.pk, ()))]
        for row in impairments
    }


# Which --------------------------------------------------------------------------------------------


def in_force(sites: Collection[int], now: datetime) -> list[ClockAdoption]:
    """Each by the calendar of its own site, which is up to a day beside that of UTC."""
    first, last = (now - A_DAY).date(), (now + A_DAY).date()
    rows = ClockAdoption.objects.filter(site__in=sites, starts_on__lte=last)
    rows = rows.filter(Q(ended_on=None) | Q(ended_on__gte=first))
    out = []
    for one in rows.select_related("clock", "site").order_by("clock__position", "pk"):
        today = date_at(one.site.time_zone, now)
        if one.starts_on <= today <= (one.ended_on or today):
            out.append(one)
    return out


def sites_to_adopt_for(actor: Actor) -> QuerySet[Site]:
    rows = Site.objects.visible_to(actor).filter(retired_on=None)
    if actor.kind == "owner":
        return rows.filter(owner=actor.organisation_id)
    if actor.kind == "authority":
        watched = SiteAuthority.objects.today(actor).filter(organisation=actor.organisation_id)
        return rows.filter(pk__in=watched.values("site"))
    return rows.none()


def require_adopter(actor: Actor) -> None:
    if actor.kind not in (Organisation.Kind.OWNER, Organisation.Kind.AUTHORITY):
        raise Forbidden("Only the owner of a site or its authority adopts a notice clock.")
    require_lead(actor, what="adopt or end a notice clock")


@transaction.atomic
def adopt_clock(
    *, actor: Actor, clock: NoticeClock, sites: Collection[Site], checked_against: str, at: datetime
) -> list[ClockAdoption]:
    """At each of these sites from today on; where it holds already nothing changes.

    Raises Forbidden; Refused no_site, not_confirmed.
    """
    require_adopter(actor)
    if not sites:
        raise Refused("no_site", "Choose at least one site.", "sites")
    if clock.needs_confirmation and not checked_against.strip():
        raise Refused(
            "not_confirmed",
            f"This clock is {clock.confidence}: name the edition or paper that it was compared "
            "with.",
            "checked_against",
        )
    own = set(sites_to_adopt_for(actor).values_list("pk", flat=True))
    if any(site.pk not in own for site in sites):
        raise Forbidden("A clock is adopted by the owner of a site or by its authority.")
    there = ClockAdoption.objects.filter(
        clock=clock, adopter=actor.organisation_id, site__in=sites, ended_on=None
    )
    known = set(there.values_list("site", flat=True))
    return [
        ClockAdoption.objects.create(
            by=actor, site=site, clock=clock, adopter=actor.organisation,
            checked_against=checked_against.strip(), adopted_by=actor.person,
            starts_on=date_at(site.time_zone, at),
        )
        for site in sites
        if site.pk not in known
    ]  # fmt: skip


@transaction.atomic
def end_clock(*, actor: Actor, adoption: ClockAdoption, at: datetime) -> ClockAdoption:
    """Today is its last day. By whoever adopted it; may run twice. Raises Forbidden."""
    if adoption.adopter_id != actor.organisation_id:
        raise Forbidden(f"Only {adoption.adopter}, who adopted it, can end it.")
    require_lead(actor, what="adopt or end a notice clock")
    if adoption.ended_on is None:
        adoption.ended_on = date_at(adoption.site.time_zone, at)
        adoption.save(by=actor, verb="ended")
    return adoption
