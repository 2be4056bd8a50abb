"""Systems out of service: one row for each time, whether a test day or a person says so."""

from collections.abc import Collection
from datetime import datetime, timedelta

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.core.figures import instant
from itm.findings import rights
from itm.findings.clocks import require_answer
from itm.findings.lives import say
from itm.findings.models import Deficiency, ImpairedSystem, Impairment, NoticeClock, Step
from itm.records.models import RestorationLine, Visit
from itm.records.restoration import OUT
from itm.registry.models import FoamSystem, Site

Verb, Asks = Step.Verb, NoticeClock.Asks
# How long before it began somebody can have been told of it, as of planned work; own choice.
TOLD_AHEAD = timedelta(days=30)


def follow(*, actor: Actor, visit: Visit, at: datetime) -> Impairment | None:
    """Bring the impairment of a test day in line with its visit and its restoration list.

    Called by every action that moves either, in its transaction. May run twice.
    """
    row = Impairment.objects.filter(visit=visit).first()
    if visit.started_at is None:
        return row
    if row is None:
        row = Impairment(site_id=visit.site_id, visit=visit, organisation_id=visit.contractor_id)
    row.started_at, row.started_by = visit.started_at, visit.started_by
    row.ended_at, row.taken_back_at = visit.restored_at, None
    row.ended_by = (visit.restored_by or "not noted") if visit.restored_at else ""
    row.save(by=actor)
    _follow_systems(actor, row, visit, at)
    return row


def noted_since(visit: Visit) -> bool:
    """Whether somebody acted on it: a round, a change, somebody told, a clock that ran out. What a
    start before this one left in its life is a note."""
    lines = Step.objects.filter(impairment__visit=visit).exclude(verb=Verb.NOTED)
    if lines.exists():
        return True
    row = Impairment.objects.filter(visit=visit, taken_back_at=None).first()
    return row is not None and visit.notices.filter(told_at__gte=row.started_at).exists()


def take_back(*, actor: Actor, visit: Visit, why: str, at: datetime) -> Impairment | None:
    """The start of its test day was a mistake. It stays to be read, with a line that says so; the
    caller owns the transaction and has emptied the start. May run twice. Raises Refused noted."""
    rows = Impairment.objects.select_for_update(of=("self",)).select_related("site")
    row = rows.filter(visit=visit, taken_back_at=None).first()
    if row is None:
        return None
    if noted_since(visit):
        raise Refused(
            "noted",
            "Somebody acted on its impairment since the start: a round, somebody told or a clock "
            "that ran out stands in it, so it cannot be made as if it had not been. End each line "
            "of the restoration list as it is found; the last one ends the impairment.",
        )
    row.taken_back_at = at
    row.save(by=actor, verb="taken back")
    began = instant(row.started_at, row.site.time_zone)
    say(
        actor, row, Verb.NOTED, at,
        f"Taken back: started by mistake on {began}, “{why}”; no valve had moved.",
    )  # fmt: skip
    return row


def _follow_systems(actor: Actor, row: Impairment, visit: Visit, at: datetime) -> None:
    """Until a line says which systems are out, each of the site may be the one."""
    lines = RestorationLine.objects.filter(visit=visit).select_related("proportioner")
    out = set(lines.filter(OUT).values_list("proportioner__system", flat=True))
    ends: dict[int, datetime | None] = {}
    for line in lines:
        system = line.proportioner.system_id
        known = [at for at in (ends.get(system), line.ended_at) if at is not None]
        ends[system] = max(known, default=None)
    if not ends:
        every = FoamSystem.objects.filter(site=visit.site_id, retired_on=None)
        ends = dict.fromkeys(every.values_list("pk", flat=True), visit.restored_at)
        out = set() if visit.restored_at else set(ends)
    there = {one.system_id: one for one in row.systems.all()}
    for system, one in there.items():
        if system not in ends and one.back_at is None:
            one.back_at = at
            one.save(by=actor)
    for system, ended_at in ends.items():
        one = there.get(system) or ImpairedSystem(impairment=row, system_id=system)
        one.back_at = None if system in out else ended_at
        one.save(by=actor)


# By hand ------------------------------------------------------------------------------------------


@transaction.atomic
def open_by_hand(
    *, actor: Actor, site: Site, systems: Collection[FoamSystem], reason: str, coordinator: str,
    started_at: datetime, at: datetime, water: str = "", stands_in: str = "",
    expected_end_at: datetime | None = None, deficiency: Deficiency | None = None,
) -> Impairment:  # fmt: skip
    """Raises Forbidden; Refused no_system, other_site, reason_missing, coordinator_missing, ahead,
    end_before_start."""
    rights.require_work(actor, site)
    if not systems:
        raise Refused("no_system", "Name at least one system that is out of service.", "systems")
    if any(system.site_id != site.pk for system in systems):
        raise Refused("other_site", "One of these systems stands at another site.", "systems")
    if not reason.strip():
        raise Refused("reason_missing", "Say why it is out of service.", "reason")
    if not coordinator.strip():
        raise Refused(
            "coordinator_missing",
            "Name the impairment coordinator: the owner, unless somebody else is named.",
            "coordinator",
        )
    if started_at > at:
        raise Refused("ahead", "This time has not come yet.", "started_at")
    _require_after(started_at, expected_end_at)
    made: Impairment = Impairment.objects.create(
        by=actor, site=site, organisation=actor.organisation, reason=reason.strip(),
        coordinator=coordinator.strip(), water=water.strip(), stands_in=stands_in.strip(),
        started_at=started_at, started_by=actor.person, expected_end_at=expected_end_at,
        deficiency=deficiency,
    )  # fmt: skip
    for system in systems:
        ImpairedSystem.objects.create(by=actor, impairment=made, system=system)
    return made


def _require_after(started_at: datetime, expected_end_at: datetime | None) -> None:
    if expected_end_at is not None and expected_end_at <= started_at:
        raise Refused(
            "end_before_start", "It is expected back before it went out; choose a later time.",
            "expected_end_at",
        )  # fmt: skip


def locked(impairment: Impairment) -> Impairment:
    """Raises Conflict where it is over."""
    row = Impairment.objects.select_for_update(of=("self",)).get(pk=impairment.pk)
    if not row.is_open:
        over = "was started by mistake" if row.taken_back_at else "is over"
        raise Conflict(f"This impairment {over}; it takes no more entries.")
    return row


@transaction.atomic
def change(
    *, actor: Actor, impairment: Impairment, water: str, stands_in: str,
    expected_end_at: datetime | None, words: str, at: datetime,
) -> Impairment:  # fmt: skip
    """What still has water, what stands in, when it is expected back, and why that changes.

    Raises Forbidden, Conflict; Refused words_missing, end_before_start.
    """
    rights.require_write(actor, impairment)
    row = locked(impairment)
    _require_after(row.started_at, expected_end_at)
    if not words.strip():
        raise Refused("words_missing", "Say what has changed.", "words")
    row.water, row.stands_in = water.strip(), stands_in.strip()
    row.expected_end_at = expected_end_at
    row.save(by=actor)
    say(actor, row, Verb.CHANGED, at, words.strip())
    return row


@transaction.atomic
def tell(
    *, actor: Actor, impairment: Impairment, who: str, told_at: datetime, at: datetime,
    how: str = "", reference: str = "", clock: NoticeClock | None = None,
) -> Step:  # fmt: skip
    """Somebody was told, which answers a clock where one is named. Also after the end: those who
    were told that it is out are told that it is back.

    Raises Forbidden; Refused who_missing, ahead, before_it, asks_other, too_early.
    """
    rights.require_write(actor, impairment)
    if not who.strip():
        raise Refused("who_missing", "Say who was told, by name.", "who")
    if told_at > at:
        raise Refused("ahead", "This time has not come yet.", "told_at")
    if told_at < impairment.started_at - TOLD_AHEAD:
        began = instant(impairment.started_at, impairment.site.time_zone)
        raise Refused(
            "before_it",
            f"It began on {began}; who was told more than {TOLD_AHEAD.days} days before that was "
            "told of something else.",
            "told_at",
        )
    if clock is not None:
        require_answer(impairment, clock, Asks.TOLD, told_at, at)
    return say(
        actor, impairment, Verb.TOLD, at, who=who.strip(), happened_at=told_at, how=how.strip(),
        reference=reference.strip(), clock=clock,
    )  # fmt: skip


# What a code asks for once a system is out for hours: NFPA 25, chapter on impairments, from memory.
ARRANGEMENTS = (
    "Evacuation", "Fire watch", "Temporary water supply", "Control of ignition sources",
    "Something else that the authority accepts",
)  # fmt: skip


@transaction.atomic
def arrange(
    *, actor: Actor, impairment: Impairment, what: str, who: str, since: datetime, at: datetime,
    words: str = "", clock: NoticeClock | None = None,
) -> Step:  # fmt: skip
    """What stands in from when on and who sees to it, which answers a clock that asks for it. Also
    after the end, since paper comes later.

    Raises Forbidden; Conflict where it was started by mistake; Refused what_missing, who_missing,
    ahead, after_it, asks_other, too_early.
    """
    rights.require_write(actor, impairment)
    if impairment.taken_back_at is not None:
        locked(impairment)
    if what not in ARRANGEMENTS:
        raise Refused("what_missing", f"Choose one of: {', '.join(ARRANGEMENTS)}.", "what")
    if not who.strip():
        raise Refused("who_missing", "Say who sees to it.", "who")
    if since > at:
        raise Refused("ahead", "This time has not come yet.", "since")
    if impairment.ended_at is not None and since > impairment.ended_at:
        raise Refused("after_it", "The systems were back in service then.", "since")
    if clock is not None:
        require_answer(impairment, clock, Asks.ARRANGED, since, at)
    return say(
        actor, impairment, Verb.ARRANGED, at, words.strip(), who=who.strip(), happened_at=since,
        how=what, clock=clock,
    )  # fmt: skip


@transaction.atomic
def walk_round(
    *, actor: Actor, impairment: Impairment, who: str, walked_at: datetime, at: datetime,
    words: str = "",
) -> Step:  # fmt: skip
    """One round of the fire watch, with what was seen. Raises Forbidden, Conflict; Refused
    who_missing, ahead, before_it."""
    rights.require_write(actor, impairment)
    row = locked(impairment)
    if not who.strip():
        raise Refused("who_missing", "Say who walked the round.", "who")
    if walked_at > at:
        raise Refused("ahead", "This time has not come yet.", "walked_at")
    if walked_at < row.started_at:
        raise Refused("before_it", "The impairment had not begun then.", "walked_at")
    return say(actor, row, Verb.ROUND, at, words.strip(), who=who.strip(), happened_at=walked_at)


@transaction.atomic
def end_by_hand(
    *, actor: Actor, impairment: Impairment, words: str, ended_at: datetime, at: datetime
) -> Impairment:
    """By a qualified person, saying how the systems were brought back.

    Raises Forbidden, Conflict; Refused restoration_open, words_missing, ahead, before_it.
    """
    rights.require_decide(actor, impairment)
    row = locked(impairment)
    if row.visit_id is not None:
        left = RestorationLine.objects.filter(OUT, visit=row.visit_id).count()
        raise Refused(
            "restoration_open",
            f"It ends with the last line of its restoration list; {left} are open or left out.",
        )
    if not words.strip():
        raise Refused("words_missing", "Say how the systems were brought back.", "words")
    if ended_at > at:
        raise Refused("ahead", "This time has not come yet.", "ended_at")
    if ended_at < row.started_at:
        raise Refused("before_it", "It ended before it began; choose a later time.", "ended_at")
    _require_nothing_out(row)
    for one in row.systems.filter(back_at=None):
        one.back_at = ended_at
        one.save(by=actor)
    row.ended_at, row.ended_by, row.ended_words = ended_at, actor.person, words.strip()
    row.save(by=actor, verb="ended", text=words.strip())
    say(actor, row, Verb.CLOSED, at, words.strip())
    return row


def _require_nothing_out(row: Impairment) -> None:
    """A line of a restoration list that is out at one of its systems keeps it open."""
    systems = row.systems.values("system")
    lines = RestorationLine.objects.filter(
        OUT, proportioner__system__in=systems, visit__started_at__isnull=False
    )
    if left := lines.count():
        raise Refused(
            "restoration_open",
            f"{left} restoration lines of these systems are open or left out of service: put them "
            "back first.",
        )
