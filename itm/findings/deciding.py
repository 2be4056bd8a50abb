"""What people do about a deficiency: tell, see to it, repair, class, close."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import uuid4

from django.db import transaction

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.clock import date_at
from itm.core.errors import Conflict, Refused
from itm.core.figures import day
from itm.findings import rights
from itm.findings.lives import say
from itm.findings.models import Deficiency, Step
from itm.findings.models.deficiencies import ORIGINS, RECORDS
from itm.findings.showing import NAMED_BY, later, missed, moment, stands
from itm.findings.spots import gone_of
from itm.records.models import ConcentrateCheck, InspectionLine, ProportioningTest
from itm.registry.models import Attachment, Grant, Site
from itm.schedule.models import Duty
from itm.schedule.models.duties import LINKS

Verb, Cause, Outcome = Step.Verb, Deficiency.Cause, Deficiency.Outcome
BY_REPAIR = (Cause.INSPECTION, Cause.BY_HAND)


@transaction.atomic
def note_by_hand(
    *, actor: Actor, site: Site, thing: Any, severity: int, words: str, found_on: date,
    at: datetime, photos: Sequence[Attachment] = (),
) -> Deficiency:  # fmt: skip
    """What a person sees and no form asks. `thing` at the site, or the site itself.

    Raises Forbidden; Refused words_missing, day_ahead.
    """
    rights.require_work(actor, site)
    if not words.strip():
        raise Refused("words_missing", "Say what is wrong.", "words")
    if found_on > date_at(site.time_zone, at):
        raise Refused("day_ahead", "This day has not come yet.", "found_on")
    hook = {name: thing for name in LINKS if _column(thing) == name}
    made: Deficiency = Deficiency.objects.create(
        by=actor, site=site, cause=Cause.BY_HAND, source=f"by_hand {uuid4()}",
        words=words.strip(), proposed=severity, severity=severity, found_on=found_on, opened_at=at,
        opened_by=actor.person, organisation=actor.organisation, **hook,
    )  # fmt: skip
    say(actor, made, Verb.OPENED, at)
    picture(actor=actor, deficiency=made, photos=photos, at=at)
    return made


def _column(thing: Any) -> str:
    return {"foamsystem": "system"}.get(thing._meta.model_name, thing._meta.model_name)


def picture(
    *, actor: Actor, deficiency: Deficiency, photos: Sequence[Attachment], at: datetime
) -> None:
    """Raises Forbidden."""
    rights.require_write(actor, deficiency)
    for photo in photos:
        say(actor, deficiency, Verb.PICTURED, at, photo.caption, photo=photo)


def locked(deficiency: Deficiency) -> Deficiency:
    """Raises Conflict where somebody has closed it."""
    row = Deficiency.objects.select_for_update(of=("self",)).get(pk=deficiency.pk)
    if row.closed_at is not None:
        raise Conflict(f"{row.closed_by} has closed this deficiency; it takes no more entries.")
    return row


@transaction.atomic
def tell(
    *, actor: Actor, deficiency: Deficiency, who: str, told_at: datetime, at: datetime,
    how: str = "", reference: str = "",
) -> Step:  # fmt: skip
    """Somebody was told. Whoever finds an impairment tells the owner before leaving the site:
    common practice, no published source.

    Raises Forbidden, Conflict; Refused who_missing, ahead, before_it.
    """
    rights.require_tell(actor, deficiency)
    row = locked(deficiency)
    if not who.strip():
        raise Refused("who_missing", "Say who was told, by name.", "who")
    if told_at > at:
        raise Refused("ahead", "This time has not come yet.", "told_at")
    if date_at(row.site.time_zone, told_at) < row.found_on:
        raise Refused("before_it", f"It was found on {day(row.found_on)}, after that.", "told_at")
    return say(
        actor, row, Verb.TOLD, at, who=who.strip(), happened_at=told_at, how=how.strip(),
        reference=reference.strip(),
    )  # fmt: skip


@transaction.atomic
def classify(
    *, actor: Actor, deficiency: Deficiency, severity: int, reason: str, at: datetime
) -> Deficiency:
    """Another class than the one that stands, by a qualified person; or the same once more, where
    it was found again after it had been lowered.

    Raises Forbidden, Conflict; Refused same_class, reason_missing.
    """
    rights.require_decide(actor, deficiency)
    row = locked(deficiency)
    if severity == row.severity and row.class_asked_on is None:
        raise Refused("same_class", "It stands in this class already.", "severity")
    if not reason.strip():
        raise Refused("reason_missing", "Say why it belongs in another class.", "reason")
    before = row.get_severity_display()
    row.severity, row.class_asked_on = severity, None
    row.severity_reason = reason.strip() if severity != row.proposed else ""
    words = f"{before} → {row.get_severity_display()}: {reason.strip()}"
    row.save(by=actor, verb="classed", text=words)
    say(actor, row, Verb.CLASSED, at, words)
    return row


@transaction.atomic
def assign(
    *, actor: Actor, deficiency: Deficiency, responsible: str, target_on: date | None,
    assigned: Organisation | None, at: datetime,
) -> Deficiency:  # fmt: skip
    """Who sees to it, and by when. The owner says so. Raises Forbidden, Conflict; Refused
    nobody, before_found, not_engaged."""
    rights.require_owner(actor, deficiency.site, "say who sees to it")
    row = locked(deficiency)
    if not responsible.strip() and assigned is None:
        raise Refused("nobody", "Name a person or a contractor who sees to it.", "responsible")
    if target_on is not None and target_on < row.found_on:
        raise Refused(
            "before_found", f"It was found on {day(row.found_on)}; choose a later day.", "target_on"
        )
    if assigned is not None:
        engaged = Grant.objects.today(actor).filter(site=row.site, organisation=assigned)
        if not engaged.exists():
            raise Refused("not_engaged", f"{assigned} is not engaged here today.", "assigned")
    row.responsible, row.target_on, row.assigned = responsible.strip(), target_on, assigned
    row.save(by=actor, verb="assigned")
    said = [responsible.strip(), str(assigned or ""), f"by {day(target_on)}" if target_on else ""]
    say(actor, row, Verb.ASSIGNED, at, ", ".join(one for one in said if one))
    return row


@transaction.atomic
def note_repair(
    *, actor: Actor, deficiency: Deficiency, part: str, who: str, repaired_at: datetime,
    at: datetime,
) -> Step:  # fmt: skip
    """Part, who and when. What was mended before it was found was something else.

    Raises Forbidden, Conflict; Refused part_missing, who_missing, ahead, before_it.
    """
    rights.require_write(actor, deficiency)
    row = locked(deficiency)
    if not part.strip():
        raise Refused("part_missing", "Name the part, and what was done to it.", "part")
    if not who.strip():
        raise Refused("who_missing", "Say who repaired it.", "who")
    if repaired_at > at:
        raise Refused("ahead", "This time has not come yet.", "repaired_at")
    if date_at(row.site.time_zone, repaired_at) < row.found_on:
        raise Refused(
            "before_it",
            f"It was found on {day(row.found_on)}, after that; say when this was repaired.",
            "repaired_at",
        )
    return say(actor, row, Verb.REPAIRED, at, part.strip(), who=who.strip(),
               happened_at=repaired_at)  # fmt: skip


@transaction.atomic
def add_note(*, actor: Actor, deficiency: Deficiency, words: str, at: datetime) -> Step:
    """Raises Forbidden, Conflict; Refused words_missing."""
    rights.require_write(actor, deficiency)
    row = locked(deficiency)
    if not words.strip():
        raise Refused("words_missing", "Write the note.", "words")
    return say(actor, row, Verb.NOTED, at, words.strip())


# The end ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Against:
    """What a deficiency may be closed against: a later record, or a repair."""

    step: Step
    ready: bool
    why_not: str = ""


def against(deficiency: Deficiency) -> list[Against]:
    """The newest first. A test or check counts once it is sealed and while nothing corrects it; a
    repair where it was not found by measuring."""
    out, seen = [], set[tuple[str, int]]()
    steps = deficiency.steps.filter(verb__in=[Verb.PROPOSED, Verb.REPAIRED])
    of = (*RECORDS, "inspection_line__inspection", "inspection_line__corrected_by")
    for step in steps.select_related(*of).order_by("-pk"):
        record = step.record
        name = (type(record).__name__, record.pk) if record else ("", step.pk)
        if name in seen:
            continue
        seen.add(name)
        why_not = _why_not(deficiency, step)
        out.append(Against(step, not why_not, why_not))
    return out


def _why_not(deficiency: Deficiency, step: Step) -> str:
    record = step.record
    if step.verb == Verb.REPAIRED and deficiency.cause not in BY_REPAIR:
        return "No person found it but a record did: only a later record shows the fix."
    if isinstance(record, ProportioningTest | ConcentrateCheck):
        if record.state != record.State.SEALED:
            return "The record is not sealed yet."
        corrections: Any = record.amendments
        if corrections.filter(state=record.State.SEALED).exists():
            return "The record was corrected since."
    if isinstance(record, InspectionLine) and hasattr(record, "corrected_by"):
        return "The inspection was corrected since."
    named = deficiency.steps.filter(verb__in=NAMED_BY)
    for found in named.select_related(*ORIGINS, "inspection_line__inspection"):
        if _since(deficiency, found, step):
            return (
                f"It was found {'again since' if found.verb == Verb.FOUND_AGAIN else 'after it'}."
            )
    return ""


def _since(deficiency: Deficiency, found: Step, fix: Step) -> bool:
    """By the days of the work, whatever came in first; the same record says what it said last."""
    if isinstance(found.record, Duty):
        since = found.since_on
        return missed(found.record, since) and moment(fix.record)[1] < since
    if fix.verb == Verb.REPAIRED:
        repaired = fix.happened_at or fix.at
        # What a person noted by hand names no record: it was seen on the day that the row says.
        seen_on = moment(found.record)[1] if found.record else deficiency.found_on
        return (seen_on, found.pk) > (date_at(deficiency.site.time_zone, repaired), fix.pk)
    if found.record == fix.record:
        return found.pk > fix.pk
    return not later(fix.record, found.record)


@transaction.atomic
def close(*, actor: Actor, deficiency: Deficiency, step: Step, at: datetime) -> Deficiency:
    """Against the record or the repair that this step names, by a qualified person.

    Raises Forbidden, Conflict; Refused shows_no_fix.
    """
    rights.require_decide(actor, deficiency)
    row = locked(deficiency)
    chosen = next((one for one in against(row) if one.step.pk == step.pk), None)
    if chosen is None:
        raise Refused("shows_no_fix", "Choose the record or the repair that shows the fix.")
    if not chosen.ready:
        raise Refused("shows_no_fix", chosen.why_not)
    words = chosen.step.words
    if chosen.step.verb == Verb.REPAIRED:
        row.outcome, row.repair = Outcome.REPAIRED, chosen.step
        words = f"Repaired by {chosen.step.who}: {words}"
    else:
        row.outcome = Outcome.FIXED
        for name in RECORDS:
            setattr(row, f"fixed_by_{name}", getattr(chosen.step, name))
    more = {name: getattr(chosen.step, name) for name in RECORDS}
    say(actor, row, Verb.CLOSED, at, words, **more)
    row.closed_at, row.closed_by = at, actor.person
    row.save(by=actor, verb="closed")
    return row


def may_end(row: Deficiency) -> bool:
    """Whether a reason alone may end it: a person noted it, what opened it has changed and shows it
    no longer, or the thing is retired or its spot gone, so that no later record of it can come."""
    if row.cause == Cause.BY_HAND or row.thing.retired_on is not None or gone_of(row):
        return True
    return row.steps.filter(verb=Verb.UNSETTLED).exists() and not stands(row)


@transaction.atomic
def end(*, actor: Actor, deficiency: Deficiency, reason: str, at: datetime) -> Deficiency:
    """Without a fix: it was a slip, or what it rested on has changed. By a qualified person, with
    the reason, which the owner and the authority read.

    Raises Forbidden, Conflict; Refused reason_missing, stands.
    """
    rights.require_decide(actor, deficiency)
    row = locked(deficiency)
    if not reason.strip():
        raise Refused("reason_missing", "Say why it ends without a fix.", "reason")
    if not may_end(row):
        raise Refused(
            "stands",
            "What opened it still stands. It closes against a later record that shows the fix.",
        )
    if gone := gone_of(row):
        say(actor, row, Verb.NOTED, at, f"No later record can show a fix: {gone}")
    say(actor, row, Verb.CLOSED, at, reason.strip())
    row.outcome, row.closed_reason = Outcome.ENDED, reason.strip()
    row.closed_at, row.closed_by = at, actor.person
    row.save(by=actor, verb="ended", text=reason.strip())
    return row
