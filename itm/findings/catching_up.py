"""What records in force show and no deficiency names is opened afterwards.

Records can be older than the deficiencies of this program, or come with the archive of a site that
had none; and a record against which one was closed can be corrected. Nothing that shows in a record
in force is lost in this way. A second run finds nothing to do.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import uuid4

from django.db import transaction
from django.db.models import Q

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.clock import date_at
from itm.core.figures import day
from itm.findings import opening
from itm.findings.lives import say
from itm.findings.models import Deficiency, Step
from itm.findings.opening import LONGEST, open_ones, origin_of, source_of
from itm.findings.rules import Found
from itm.findings.showing import Origin, Place, Shown, in_force, later
from itm.findings.spots import gone
from itm.records.models import (
    ConcentrateCheck,
    Inspection,
    InspectionLine,
    ProportioningTest,
    Record,
    RestorationLine,
)
from itm.registry.models import Proportioner, Site, Tank
from itm.registry.services import Retirable

Verb, Outcome = Step.Verb, Deficiency.Outcome
THINGS: dict[type[Record], tuple[str, Any]] = {
    ProportioningTest: ("proportioner", Proportioner), ConcentrateCheck: ("tank", Tank),
}  # fmt: skip


@dataclass
class Caught:
    """`opened`: new rows. `named`: open ones that now name an older record as well."""

    opened: list[Deficiency] = field(default_factory=list)
    named: list[Deficiency] = field(default_factory=list)


@transaction.atomic
def catch_up(*, actor: Actor, site: Site, at: datetime) -> Caught:
    """All that stands at one site. Things that are retired open nothing: they are out for good."""
    caught = Caught()
    for model, (link, things) in THINGS.items():
        records: Any = model.objects.filter(site=site)
        held = things.objects.filter(retired_on=None, pk__in=records.values(link))
        for thing in held.order_by("pk"):
            _catch_up_thing(actor, thing, at, caught, of=site)
    _tasks(actor, site, at, caught)
    _lines_left_out(actor, site, at, caught)
    return caught


@transaction.atomic
def after_correction(*, actor: Actor, record: Record, at: datetime) -> Caught:
    """What was closed against the record that this one, now sealed, corrects may show again."""
    caught = Caught()
    link, _ = THINGS[type(record)]
    if record.amends_id is not None:
        _catch_up_thing(actor, getattr(record, link), at, caught)
    return caught


@transaction.atomic
def after_corrected_line(*, actor: Actor, line: InspectionLine, at: datetime) -> Caught:
    """The same of a line of an inspection, with another beside it that corrects it."""
    caught, hook = Caught(), opening.hook_of(line)
    here = {name: hook.get(name) for name in opening.LINKS}
    _tasks(actor, line.inspection.site, at, caught, requirement__code=line.requirement.code, **here)
    return caught


@transaction.atomic
def after_taken_back(
    *, actor: Actor, back: Iterable[tuple[Retirable, date]], at: datetime
) -> Caught:  # fmt: skip
    """In use again, each with the day from which on it was not: what ended meanwhile because no
    later record could come is open again, unless a later one finds it right."""
    caught = Caught()
    for thing, since in back:
        here = _alone(thing)
        if here is None:
            continue
        if isinstance(thing, Proportioner | Tank):
            _catch_up_thing(actor, thing, at, caught)
        ended = Deficiency.objects.filter(outcome=Outcome.ENDED, **here)
        for site in Site.objects.filter(pk__in=ended.values("site")).order_by("pk"):
            hook = {name: value for name, value in here.items() if name != "site"}
            _tasks(actor, site, at, caught, **hook)
            _lines_left_out(actor, site, at, caught)
        for row in ended.filter(cause=Deficiency.Cause.BY_HAND).order_by("-pk"):
            if row.closed_at and date_at(row.site.time_zone, row.closed_at) >= since:
                _noted_again(actor, row, at, caught)
    return caught


@transaction.atomic
def after_spots_back(*, actor: Actor, thing: Proportioner | Tank, at: datetime) -> Caught:
    """What is run of it, or what stands in it, has changed: what ended because its spot was gone is
    open again once that is back. May run twice."""
    caught, link = Caught(), "proportioner" if isinstance(thing, Proportioner) else "tank"
    ended = Deficiency.objects.filter(outcome=Outcome.ENDED, **{link: thing})
    if thing.retired_on is None and ended.exists():
        _catch_up_thing(actor, thing, at, caught)
    return caught


def _alone(thing: Retirable) -> dict[str, Any] | None:
    """How what hangs on this thing, and on nothing that belongs to it, is found."""
    name = next((name for name in opening.LINKS if type(thing) is _model_of(name)), "")
    if not name and not isinstance(thing, Site):
        return None  # an instrument
    out: dict[str, Any] = dict.fromkeys(opening.LINKS)
    return {**out, name or "site": thing}


def _model_of(name: str) -> Any:
    return Deficiency._meta.get_field(name).related_model


def _noted_again(actor: Actor, was: Deficiency, at: datetime, caught: Caught) -> None:
    """What a person noted has no record that shows it: the same words open again."""
    hook = {name: getattr(was, name) for name in opening.LINKS}
    same = {"site": was.site, "cause": was.cause, "words": was.words, **hook}
    if open_ones(**same).exists():
        return
    made: Deficiency = Deficiency.objects.create(
        by=actor, source=f"{was.cause} {uuid4()}", proposed=was.severity, severity=was.severity,
        found_on=was.found_on, opened_at=at, opened_by=actor.person,
        organisation=was.organisation, **same,
    )  # fmt: skip
    say(actor, made, Verb.OPENED, at)
    for step in was.steps.filter(verb=Verb.PICTURED).select_related("photo"):
        say(actor, made, Verb.PICTURED, at, step.words, photo=step.photo)
    say(actor, made, Verb.NOTED, at, _again(made, at, "it ended while this was out of use."))
    caught.opened.append(made)


def _again(made: Deficiency, at: datetime, why: str) -> str:
    return f"Opened again on {day(date_at(made.site.time_zone, at))}: {why}"


# Records ------------------------------------------------------------------------------------------


def _catch_up_thing(
    actor: Actor, thing: Proportioner | Tank, at: datetime, caught: Caught, of: Site | None = None
) -> None:
    model = ProportioningTest if isinstance(thing, Proportioner) else ConcentrateCheck
    link, _ = THINGS[model]
    in_use = thing.retired_on is None
    origin = opening.RECORD_LINKS[model]
    names = _names(origin=origin, in_use=in_use, **{link: thing})
    ended = _names(origin=origin, in_use=False, **{link: thing})
    kept = list(in_force(model, **{link: thing}))
    for number, (record, seen) in enumerate(kept):
        if of is not None and record.site_id != of.pk:
            continue  # it stood elsewhere then, and is caught up with there
        after = kept[number + 1 :]
        for found in seen.found:
            place = (found.cause, found.spot)
            named = (source_of(found, seen.hook, record.site), record.pk)
            if named in names or _proved(place, after):
                continue
            if named in ended and gone(*place, thing, seen.on):
                continue  # what ended because its spot is gone stays so while it is
            _open_of(actor, record, found, seen, after, at, caught)


def _names(origin: str, in_use: bool = True, **where: Any) -> set[tuple[str, int]]:
    """Which record is named by the life of which deficiency. One that was closed against what was
    corrected since does not count: nothing shows its fix any more. Nor does one that ended with a
    reason alone, which what is in use and still shows it contradicts."""
    undone = (
        Q(fixed_by_test__amendments__state="sealed")
        | Q(fixed_by_concentrate_check__amendments__state="sealed")
        | Q(fixed_by_inspection_line__corrected_by__isnull=False)
    )
    if in_use:
        undone |= Q(outcome=Outcome.ENDED)
    rows = Deficiency.objects.filter(**where)
    held = rows.exclude(pk__in=rows.filter(undone).values("pk"))
    steps = Step.objects.filter(deficiency__in=held).exclude(**{origin: None})
    return set(steps.values_list("deficiency__source", origin))


def _proved(place: Place, after: Iterable[tuple[Any, Shown]]) -> bool:
    """Only a seal shows a fix: until then the record can still go back."""
    return any(place in seen.fine and one.state == one.State.SEALED for one, seen in after)


def _open_of(
    actor: Actor, record: Any, found: Found, seen: Shown, after: Iterable[tuple[Any, Shown]],
    at: datetime, caught: Caught,
) -> None:  # fmt: skip
    maker = (
        record.visit.contractor if isinstance(record, ProportioningTest) else record.organisation
    )
    made = _raise(
        actor, found, record, seen.hook, at, caught, by=maker, site=record.site, on=seen.on
    )
    if made is None:
        return
    for one, what in after:
        if (found.cause, found.spot) in what.fine:
            if one.amends_id == record.pk:
                words = "A correction was handed in that does not show it."
                say(actor, made, Verb.UNSETTLED, at, words, **origin_of(one))
            else:
                opening.propose(actor, made, one, at)


def _raise(
    actor: Actor, found: Found, origin: Origin, hook: Any, at: datetime, caught: Caught, *,
    by: Organisation, site: Site, on: date,
) -> Deficiency | None:  # fmt: skip
    """The deficiency where it is new."""
    there = open_ones(source=source_of(found, hook, site)).first()
    if there is not None and not later(origin, there.origin):
        words = f"It showed on {day(on)} already. {found.words}"[:LONGEST]
        say(actor, there, Verb.NOTED, at, words, **origin_of(origin))
        caught.named.append(there)
        return None
    made = opening.raise_found(
        actor, found, origin=origin, hook=hook, at=at, by=by, site=site, found_on=on
    )
    if there is not None:
        caught.named.append(made)
        return None
    _say_afterwards(actor, made, at, caught)
    return made


def _say_afterwards(actor: Actor, made: Deficiency, at: datetime, caught: Caught) -> None:
    rows = Deficiency.objects.filter(source=made.source).exclude(closed_at=None)
    before = rows.filter(**{f"steps__{name}": row for name, row in origin_of(made.origin).items()})
    when = day(date_at(made.site.time_zone, at))
    last = before.order_by("pk").last()
    if last is not None and last.outcome == Outcome.FIXED:
        words = _again(made, at, "the record that it was closed against was corrected.")
    elif last is not None and last.outcome == Outcome.ENDED:
        words = _again(made, at, f"the record of {day(made.found_on)} still shows it.")
    else:
        words = (
            f"Opened afterwards, on {when}: the record of {day(made.found_on)} shows it, and no "
            "deficiency named it."
        )
    say(actor, made, Verb.NOTED, at, words)
    caught.opened.append(made)


# Inspections and the restoration list -------------------------------------------------------------


def _tasks(actor: Actor, site: Site, at: datetime, caught: Caught, **where: Any) -> None:
    rows = InspectionLine.objects.filter(inspection__site=site, corrected_by=None, **where)
    rows = rows.select_related(
        "inspection__site", "inspection__organisation", "requirement__programme", *opening.LINKS
    )
    lines = list(rows.order_by("inspection__done_on", "pk"))
    names = _names(origin="inspection_line", site=site)
    last_right = {
        (opening.task_of(line), line.hook): line
        for line in lines
        if line.outcome == InspectionLine.Outcome.IN_ORDER
    }
    for line in lines:
        if line.outcome != InspectionLine.Outcome.FAULT or _retired(line):
            continue
        found, hook = opening.found_of_task(line), opening.hook_of(line)
        right = last_right.get((opening.task_of(line), line.hook))
        if (source_of(found, hook, site), line.pk) in names or later(right, line):
            continue
        told: Inspection = line.inspection
        _raise(
            actor, found, line, hook, at, caught, by=told.organisation, site=site, on=told.done_on
        )


def _retired(line: InspectionLine) -> bool:
    things = [*opening.hook_of(line).values()] or [line.inspection.site]
    return any(thing.retired_on is not None for thing in things)


def _lines_left_out(actor: Actor, site: Site, at: datetime, caught: Caught) -> None:
    rows = RestorationLine.objects.filter(
        visit__site=site, outcome=RestorationLine.Outcome.LEFT_OUT, followed_by=None,
        proportioner__retired_on=None,
    )  # fmt: skip
    names = _names(origin="restoration_line", site=site)
    for line in rows.select_related("visit__site", "visit__contractor", "proportioner"):
        found, hook = opening.found_of_line(line), {"proportioner": line.proportioner}
        source = source_of(found, hook, site)
        if (source, line.pk) in names or _back(line):
            continue
        there = open_ones(source=source).exists()
        made = opening.after_line(actor=actor, line=line, at=at, by=line.visit.contractor)
        if made is not None and there:
            caught.named.append(made)
        elif made is not None:
            _say_afterwards(actor, made, at, caught)


def _back(line: RestorationLine) -> bool:
    """A later test day has the same line as restored, without one that follows it."""
    same = RestorationLine.objects.filter(proportioner=line.proportioner, text=line.text)
    done = RestorationLine.Outcome.RESTORED
    return same.filter(outcome=done, ended_at__gt=line.ended_at).exists()
