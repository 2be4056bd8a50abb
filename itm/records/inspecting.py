"""Writes of inspections. What follows for the duties is the action's business."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Forbidden, Refused
from itm.core.figures import day
from itm.records import wants
from itm.records.drafts import may_begin, new_key
from itm.records.models import Inspection, InspectionLine, Visit
from itm.registry.access import require_work
from itm.registry.models import Attachment, Site
from itm.schedule.models import Duty, Requirement
from itm.schedule.models.duties import LINKS

Outcome = InspectionLine.Outcome
# Completed by the seal of a record of its own, never by a form; and where such a record begins.
OWN_RECORD = {
    Requirement.Task.PROPORTIONING_TEST: "a proportioning test, which begins with a visit",
    Requirement.Task.CONCENTRATE_CHECK: "a concentrate check, which begins on the page of its tank",
}
OTHERWISE = tuple(OWN_RECORD)
NO_PHOTOS: Mapping[str, Attachment] = {}


@dataclass(frozen=True)
class Entry:
    """What a person entered for one open duty; `reason` alone says why it was not possible."""

    duty: Duty
    entered: Mapping[str, str] = field(default_factory=dict)
    reason: str = ""
    note: str = ""
    broken: bool = False  # not in order for a reason that no answer shows
    # Files of the photos wanted, by want; their names stand in `entered`.
    photos: Mapping[str, Attachment] = field(default_factory=dict)
    key: uuid.UUID | None = None  # of its line, where a device gave it one

    @property
    def empty(self) -> bool:
        words = self.reason.strip() or self.note.strip()
        return wants.untouched(self.entered) and not words and not self.broken


def require_inspector(
    actor: Actor, site: Site, visit: Visit | None = None, at: datetime | None = None
) -> None:
    """`at` is the stamp of a device: what its crew saw on a day of its engagement may come in late,
    as the start of a day may. Raises Forbidden."""
    if visit is None or at is None or not may_begin(actor, visit, at):
        require_work(actor, site, "inspect")


def round_of(
    actor: Actor, of: Visit | Site, done_on: date, *, clock_off: bool = False
) -> uuid.UUID:  # fmt: skip
    """What a device sends task by task is one round: by one person, on one day of one visit, or at
    a site without one. There a device whose clock is wrong makes a round of its own, since no visit
    tells of it."""
    clock = " by a clock that is wrong" if clock_off else ""
    return uuid.uuid5(of.key, f"inspected by {actor.person_key} on {done_on.isoformat()}{clock}")


def recorded(actor: Actor, once: uuid.UUID | str) -> Inspection | None:
    """What this deed made when it was done before."""
    try:
        key = uuid.UUID(str(once))
    except ValueError:
        return None
    return Inspection.objects.filter(once=key, organisation=actor.organisation_id).first()


@transaction.atomic
def record(
    *, actor: Actor, site: Site, done_on: date, at: datetime, once: uuid.UUID,
    entries: Sequence[Entry], visit: Visit | None = None, note: str = "", fills: bool = False,
) -> Inspection:  # fmt: skip
    """All tasks of one round, or none. May run twice: the same `once` gives the same record. Where
    it `fills`, its tasks go under those that this record holds already.

    Raises Forbidden; Refused nothing_entered, day_ahead, before_service, and what `wants` raises,
    with `<duty>-<want>` as place.
    """
    require_inspector(actor, site, visit, at)
    there = recorded(actor, once)
    if there is not None and not fills:
        return there
    lines = [line_of(entry, done_on) for entry in entries if not entry.empty]
    if not lines:
        raise Refused("nothing_entered", "Nothing is entered yet: fill in at least one task.")
    if done_on > date_at(site.time_zone, at):
        raise Refused("day_ahead", "This day has not come yet.", "done_on")
    made = there or Inspection(
        site=site, visit=visit, organisation=actor.organisation, done_on=done_on, entered_at=at,
        person=actor.person, qualification=actor.user.qualification if actor.user else "",
        note=note.strip(), once=once,
    )  # fmt: skip
    if there is None:
        made.save(by=actor)
    for line in lines:
        line.inspection = made
        line.save(by=actor)
    return made


def require_in_service(duty: Duty, done_on: date) -> None:
    """Raises Refused before_service."""
    begun = begun_on(duty)
    if begun is not None and done_on < begun:
        raise Refused(
            "before_service", f"{duty.thing} is in service since {day(begun)}; it cannot have been "
            "inspected before.", "done_on",
        )  # fmt: skip


def line_of(entry: Entry, done_on: date) -> InspectionLine:
    duty, row = entry.duty, entry.duty.requirement
    require_in_service(duty, done_on)
    given = judged(entry)
    return InspectionLine(
        key=new_key(InspectionLine, entry.key),
        requirement=row,
        words=row.words or str(row),
        place=place_of(duty),
        acceptance=row.acceptance,
        source=", ".join(filter(None, (row.source, row.edition))),
        **{name: getattr(duty, name) for name in LINKS},
        **given,
    )


def require_form(row: Requirement) -> None:
    """Raises Refused other_record."""
    if (record := OWN_RECORD.get(Requirement.Task(row.task))) is not None:
        raise Refused(
            "other_record",
            f"No inspection completes “{row}”: only the seal of {record}, does.",
        )


def judged(entry: Entry) -> dict[str, Any]:
    """Outcome, answers, reason and note of one entry, before any of its files is stored."""
    require_form(entry.duty.requirement)
    pk, reason = entry.duty.pk, entry.reason.strip()
    if reason:
        if not wants.untouched(entry.entered) or entry.broken:
            raise Refused(
                "both",
                "Either it was done or it was not possible: empty the answers and the tick, or the "
                "reason.",
                f"{pk}-reason",
            )
        return {
            "outcome": Outcome.NOT_POSSIBLE, "reason": reason, "note": entry.note.strip(),
            "other_fault": False,
        }  # fmt: skip
    try:
        answers = wants.answers(entry.duty.requirement.evidence, entry.entered)
    except Refused as refusal:
        raise Refused(refusal.code, refusal.sentence, f"{pk}-{refusal.place}") from refusal
    _name_files(answers, entry.photos)
    fine = all(one["in_order"] for one in answers) and not entry.broken
    return {
        "outcome": Outcome.IN_ORDER if fine else Outcome.FAULT,
        "answers": answers,
        "other_fault": entry.broken,
        "note": entry.note.strip(),
    }


def _name_files(answers: list[dict[str, Any]], photos: Mapping[str, Attachment]) -> None:
    for one in answers:
        if (photo := photos.get(one["key"])) is not None:
            one |= {"attachment": str(photo.key), "sha256": photo.sha256}


def begun_on(duty: Duty) -> date | None:
    """The first day of service that the registry knows."""
    if duty.proportioner is not None:
        return duty.proportioner.system.commissioned_on
    if duty.equipment is not None:
        return duty.equipment.installed_on
    return duty.system.commissioned_on if duty.system is not None else None


def place_of(duty: Duty) -> str:
    if duty.proportioner is not None:
        return f"{duty.proportioner.system}, {duty.proportioner}"
    if duty.tank is not None:
        return f"tank {duty.tank}"
    if duty.equipment is not None:
        what = duty.equipment.name or duty.equipment.what
        return f"{duty.equipment.stands_at}, {duty.equipment} ({what})"
    return str(duty.system) if duty.system is not None else "the whole site"


def _photos(line: InspectionLine, photos: Mapping[str, Attachment]) -> list[dict[str, Any]]:
    asked = [want for want in line.requirement.evidence if want["key"] in photos]
    new = wants.answers(asked, {name: photo.name for name, photo in photos.items()})
    _name_files(new, photos)
    stay = [one for one in line.answers if one["kind"] == "photo" and one["key"] not in photos]
    return [*new, *stay]


def require_recorder(actor: Actor, line: InspectionLine) -> None:
    if line.inspection.organisation_id != actor.organisation_id:
        raise Forbidden(f"Only {line.inspection.organisation}, who recorded it, can correct it.")


@transaction.atomic
def correct(
    *, actor: Actor, line: InspectionLine, at: datetime, once: uuid.UUID, why: str,
    entered: Mapping[str, str], possible: bool, broken: bool = False, note: str = "",
    key: uuid.UUID | None = None, photos: Mapping[str, Attachment] = NO_PHOTOS,
) -> Inspection:  # fmt: skip
    """Another line takes the place of a wrong one, which stays to be read with the reason.

    `possible` false says that it had not been possible after all. `photos` by want stand in place
    of those that were taken; of every other want what was taken stays. May run twice.
    What older inspections say of a check stays in force and can be corrected; but one that had not
    been possible is not made to have been done.
    Raises Forbidden; Refused corrected_already, why_missing, other_record, and what `wants` raises.
    """
    require_recorder(actor, line)
    old = line.inspection
    there = recorded(actor, once)
    if there is not None:
        return there
    if InspectionLine.objects.filter(corrects=line).exists():
        raise Refused("corrected_already", "This line is corrected already; correct that one.")
    if not why.strip():
        raise Refused("why_missing", "Say why it is corrected.", "why")
    values: dict[str, object] = {
        "outcome": Outcome.NOT_POSSIBLE, "answers": [], "other_fault": False,
    }  # fmt: skip
    if possible:
        if line.outcome == Outcome.NOT_POSSIBLE:
            require_form(line.requirement)
        asked = [want for want in line.requirement.evidence if want["kind"] != "photo"]
        answers = wants.answers(asked, entered)
        fine = all(one["in_order"] for one in answers) and not broken
        answers += _photos(line, photos)
        values = {
            "outcome": Outcome.IN_ORDER if fine else Outcome.FAULT, "answers": answers,
            "other_fault": broken,
        }  # fmt: skip
    made = Inspection(
        site=old.site, visit=old.visit, organisation=actor.organisation, done_on=old.done_on,
        entered_at=at, person=actor.person,
        qualification=actor.user.qualification if actor.user else "", once=once,
        note=f"Corrects the inspection of {day(old.done_on)}",
    )  # fmt: skip
    made.save(by=actor)
    same = ("requirement", "words", "place", "acceptance", "source", *LINKS)
    InspectionLine(
        inspection=made, corrects=line, reason=why.strip(), note=note.strip(),
        key=new_key(InspectionLine, key),
        **{name: getattr(line, name) for name in same}, **values,
    ).save(by=actor)  # fmt: skip
    return made
