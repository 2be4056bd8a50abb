"""Deficiencies follow from what was handed in, found or left out, in the transaction of that deed.

Nothing closes here: what shows a fix only proposes it, and a person closes. What a deficiency rests
on may go back, be corrected or be given up; it then stays, with a line that says so.

Whoever opens, finds again or proposes holds the row until the deed is done. So a deed goes through
the spots in one order, that of their `source`: of two at once each would else hold what the other
waits for.
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.clock import date_at
from itm.core.figures import day
from itm.findings import rules
from itm.findings.lives import say
from itm.findings.models import Deficiency, Step
from itm.findings.points import Names
from itm.findings.rules import Found, Late
from itm.findings.showing import Origin, Shown, after, later, shown
from itm.records.models import (
    Inspection,
    InspectionLine,
    ProportioningTest,
    Record,
    RestorationLine,
)
from itm.records.models.kept import LINKS as RECORD_LINKS
from itm.registry.models import Site
from itm.schedule.models import Duty
from itm.schedule.models.duties import LINKS

Verb, Cause = Step.Verb, Deficiency.Cause
LONGEST = 400


def origin_of(row: Origin) -> dict[str, Any]:
    """The link by which a deficiency or a step names this row."""
    if isinstance(row, InspectionLine):
        return {"inspection_line": row}
    if isinstance(row, RestorationLine):
        return {"restoration_line": row}
    if isinstance(row, Duty):
        return {"duty": row}
    return {RECORD_LINKS[type(row)]: row}


def open_ones(**where: Any) -> QuerySet[Deficiency]:
    return Deficiency.objects.filter(closed_at=None, **where)


def source_of(found: Found | Late, hook: Mapping[str, Any], site: Site) -> str:
    """The one spot at which this is wrong: unique among the open ones."""
    name, thing = next(iter(hook.items()), ("site", site))
    return f"{found.cause} {name} {thing.key} {found.spot}"[:300]


def raise_found(
    actor: Actor, found: Found | Late, *, origin: Origin, hook: Mapping[str, Any], at: datetime,
    by: Organisation | None = None, **row: Any,
) -> Deficiency:  # fmt: skip
    """Open it, or say in the one that is open that it was found again.

    One thing wrong at one spot is one deficiency as long as it is open: its age is that of the
    first time. `by` is who found it, where that is not the actor.
    """
    source = source_of(found, hook, row["site"])
    words = found.words[:LONGEST]
    line = origin_of(origin)
    if isinstance(origin, Duty):
        line["since_on"] = origin.latest_on + timedelta(days=1)
    there = _open_at(source)
    if there is None:
        try:
            with transaction.atomic():
                made: Deficiency = Deficiency.objects.create(
                    by=actor, cause=found.cause, spot=found.spot[:200], source=source, words=words,
                    ground=found.ground, proposed=found.severity, severity=found.severity,
                    opened_at=at, opened_by=actor.person, organisation=by or actor.organisation,
                    **hook, **row, **origin_of(origin),
                )  # fmt: skip
        except IntegrityError:  # somebody who found the same was a moment faster
            there = _open_at(source)
            if there is None:
                raise
        else:
            say(actor, made, Verb.OPENED, at, found.ground, **line)
            return made
    say(actor, there, Verb.FOUND_AGAIN, at, words, **line)
    _found_again(actor, there, found, row["found_on"], origin)
    return there


def _found_again(
    actor: Actor, there: Deficiency, found: Found | Late, on: date, origin: Origin
) -> None:
    """Its newest words stand beside the first. Found in a worse class, it stands in that from now
    on; where a person lowered its class before, the class is asked for again. The news tell both.
    """
    words, before = found.words[:LONGEST], there.get_severity_display()
    was, verb, text = there.severity, "found again", f"{there.again_words or there.words} → {words}"
    newer = on >= (there.again_on or there.found_on)
    if newer and (origin != there.origin or words != there.words):
        there.again_words, there.again_on = words, on
        if there.severity > there.proposed:
            there.class_asked_on = on
    if found.severity < there.proposed:
        there.proposed, there.ground = found.severity, found.ground
        if found.severity <= there.severity:  # else a person has set a worse one already
            there.severity, there.severity_reason = found.severity, ""
        there.class_asked_on = None
    if there.severity < was:
        verb, text = "worse", f"{before} → {there.get_severity_display()}: found again, and worse"
    there.save(by=actor, verb=verb, text=text[:LONGEST])


def _open_at(source: str) -> Deficiency | None:
    return open_ones(source=source).select_for_update().first()


# Records ------------------------------------------------------------------------------------------


def after_hand_in(
    *, actor: Actor, record: Record, result: Mapping[str, Any], at: datetime
) -> list[Deficiency]:
    """What this result opens, and what it proposes to close; the caller owns the transaction.

    `record` as `records.loading` gives it whole.
    """
    seen = shown(record, result)
    # What is found again and what is only proposed stand mixed in that order: all are held first.
    list(open_ones(**seen.hook).select_for_update().order_by("source").values_list("pk", flat=True))
    made = [
        raise_found(
            actor, one, origin=record, hook=seen.hook, at=at, site=record.site, found_on=seen.on
        )
        for one in sorted(seen.found, key=lambda one: source_of(one, seen.hook, record.site))
    ]  # fmt: skip
    _propose_by(actor, record, seen, made, at)
    propose_by_later(actor, record, made, at)
    return made


def _propose_by(
    actor: Actor, record: Record, seen: Shown, still: Iterable[Deficiency], at: datetime
) -> None:  # fmt: skip
    """Open ones that this record does not show any more."""
    wrong = {one.pk for one in still}
    corrected = [record, record.amends] if record.amends_id else [record]
    for one in open_ones(**seen.hook).select_related("test", "concentrate_check"):
        if one.pk in wrong:
            continue
        if one.origin in corrected:
            words = "The record that opened it was corrected and does not show it any more."
            say(actor, one, Verb.UNSETTLED, at, words, **origin_of(record))
        elif (one.cause, one.spot) in seen.fine and later(record, one.origin):
            propose(actor, one, record, at)


def propose_by_later(
    actor: Actor, record: Record, made: Iterable[Deficiency], at: datetime
) -> None:
    """The record came late: what was done after it may show the fix already."""
    opened = [one for one in made if one.origin == record]
    if not opened:
        return
    for other, seen in after(record):
        for one in opened:
            if (one.cause, one.spot) in seen.fine:
                propose(actor, one, other, at)


def propose(actor: Actor, one: Deficiency, record: Record, at: datetime) -> None:
    say(actor, one, Verb.PROPOSED, at, _shows(record, one.spot), **origin_of(record))


def _shows(record: Record, spot: str) -> str:
    if isinstance(record, ProportioningTest):
        called = Names(record.proportioner).said(spot)
        return f"Tested on {day(record.tested_on)}: right at {called}."
    return f"Checked on {day(record.checked_on)}: {spot.replace('_', ' ')} shows nothing wrong."


def rests_on(record: Record) -> QuerySet[Deficiency]:
    """Open ones that this record opened, found again, or proposes to close."""
    link = origin_of(record)
    return (
        open_ones(**link) | open_ones(**{f"steps__{name}": row for name, row in link.items()})
    ).distinct()


def after_unsettled(*, actor: Actor, record: Record, words: str, at: datetime) -> None:
    """A record went back, is corrected or was given up: what rests on it stays and says so."""
    for one in rests_on(record):
        say(actor, one, Verb.UNSETTLED, at, words, **origin_of(record))


# Inspections --------------------------------------------------------------------------------------


def task_of(line: InspectionLine) -> str:
    """The spot of an inspection: the same task in every edition of its programme."""
    return f"{line.requirement.programme.code} {line.requirement.code}"


def hook_of(line: InspectionLine) -> dict[str, Any]:
    return {name: thing for name in LINKS if (thing := getattr(line, name)) is not None}


def found_of_task(line: InspectionLine) -> Found:
    return rules.of_answers(line.words, line.answers, task_of(line), line.note)


def raise_line(actor: Actor, line: InspectionLine, at: datetime) -> Deficiency:
    return raise_found(
        actor, found_of_task(line), origin=line, hook=hook_of(line), at=at,
        site=line.inspection.site, found_on=line.inspection.done_on,
    )  # fmt: skip


def after_inspection(
    *, actor: Actor, inspection: Inspection, at: datetime, known: Collection[int] = ()
) -> list[Deficiency]:
    """Tasks found out of order open one each; tasks in order propose to close theirs. `known` are
    primary keys of lines that have done so already."""
    made = []
    lines = inspection.lines.exclude(pk__in=known).select_related(
        "requirement__programme", "corrects", "inspection__site", *LINKS
    )  # fmt: skip
    for line in sorted(lines, key=lambda line: _place_of(line, inspection.site)):
        if line.outcome == InspectionLine.Outcome.FAULT:
            made.append(one := raise_line(actor, line, at))
            if one.inspection_line_id == line.pk:
                _task_since(actor, one, line, at)
            continue
        hook = hook_of(line)
        there = open_ones(
            site=inspection.site, cause=Cause.INSPECTION, spot=task_of(line),
            **{name: hook.get(name) for name in LINKS},
        )  # fmt: skip
        for one in there.select_related("inspection_line__inspection"):
            _line_in_order(actor, one, line, inspection, at)
    return made


def _place_of(line: InspectionLine, site: Site) -> tuple[str, str, str]:
    """Where the line stands in the order of `source`, without judging its answers."""
    name, thing = next(iter(hook_of(line).items()), ("site", site))
    return name, str(thing.key), task_of(line)


def _line_in_order(
    actor: Actor, one: Deficiency, line: InspectionLine, inspection: Inspection, at: datetime
) -> None:
    if line.corrects_id is not None:
        if line.corrects_id == one.inspection_line_id:
            words = f"The inspection that opened it was corrected: {line.reason}"
            say(actor, one, Verb.UNSETTLED, at, words, inspection_line=line)
    elif line.outcome == InspectionLine.Outcome.IN_ORDER:
        opened = one.inspection_line
        if opened is not None and inspection.done_on >= opened.inspection.done_on:
            _propose_task(actor, one, line, at)


def _task_since(actor: Actor, one: Deficiency, line: InspectionLine, at: datetime) -> None:
    """The round came late: a later one may have found the task in order already."""
    hook = hook_of(line)
    rows = InspectionLine.objects.filter(
        inspection__site=one.site, inspection__done_on__gte=line.inspection.done_on,
        requirement__code=line.requirement.code, outcome=InspectionLine.Outcome.IN_ORDER,
        requirement__programme__code=line.requirement.programme.code, corrected_by=None,
        **{name: hook.get(name) for name in LINKS},
    )  # fmt: skip
    for right in rows.select_related("inspection").order_by("inspection__done_on", "pk"):
        if later(right, line):
            _propose_task(actor, one, right, at)


def _propose_task(actor: Actor, one: Deficiency, line: InspectionLine, at: datetime) -> None:
    words = f"Found in order on {day(line.inspection.done_on)}."
    say(actor, one, Verb.PROPOSED, at, words, inspection_line=line)


# The restoration list -----------------------------------------------------------------------------


def after_line(
    *, actor: Actor, line: RestorationLine, at: datetime, by: Organisation | None = None
) -> Deficiency | None:
    """Left out of service: an impairment, told of by the hand-over that the line already names."""
    if line.outcome != RestorationLine.Outcome.LEFT_OUT:
        return None
    site = line.visit.site
    made = raise_found(
        actor, found_of_line(line), origin=line, hook={"proportioner": line.proportioner}, at=at,
        by=by, site=site, found_on=date_at(site.time_zone, line.ended_at or at),
    )  # fmt: skip
    say(
        actor, made, Verb.TOLD, at, who=line.handed_to, happened_at=line.handed_at,
        how="in writing",
    )  # fmt: skip
    return made


def found_of_line(line: RestorationLine) -> Found:
    words = f"Left out of service: {line.text}. {line.reason}"
    return Found("left_out", line.text, words, "left_out")


def after_put_back(*, actor: Actor, line: RestorationLine, at: datetime) -> None:
    for one in open_ones(restoration_line=line.follows_id):
        say(actor, one, Verb.PROPOSED, at, f"Put back: {line.text}.", restoration_line=line)


def after_reopened(*, actor: Actor, line: RestorationLine, at: datetime) -> None:
    """Ended by mistake: what was opened by it stays until a person ends it."""
    for one in open_ones(restoration_line=line.pk):
        words = "The line was left out by mistake and is open again."
        say(actor, one, Verb.UNSETTLED, at, words, restoration_line=line)
