"""A round of inspection, task by task as a person walks it."""

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from itm.actions.record_inspection import correct_inspection, record_inspection
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.core.figures import day
from itm.doors.entry import Call, Done
from itm.doors.filling import cleaned, filled
from itm.intake.once import answer_to
from itm.records import dating, device_clocks, inspecting
from itm.records import inspection_queries as queries
from itm.records.inspecting import Entry
from itm.records.inspection_forms import TaskForm
from itm.records.merge import Crossed
from itm.records.models import InspectionLine, Visit
from itm.registry.models import Attachment, Site
from itm.schedule.models import Duty


def inspect(call: Call) -> Done:
    """Of the same task on the same thing and day one inspection stands: where another says
    something else, a person decides by sending it again with that in `opened`."""
    return _inspect(call, call.row.site, call.row)


def inspect_site(call: Call) -> Done:
    """The same on a round of the owner's own people, with no visit of a contractor."""
    return _inspect(call, call.row, None)


def _inspect(call: Call, site: Site, visit: Visit | None) -> Done:
    at = min(call.at, call.now)
    inspecting.require_inspector(call.actor, site, visit, at)
    # Of two that send at once the second sees the line of the first, and fills its round.
    type(call.row).objects.select_for_update(no_key=True).get(pk=call.row.pk)
    put = dict(call.entry.put)
    duty = _duty(site, str(put.pop("duty", "")))
    answers = put.pop("answers", [])
    given = cleaned(filled(TaskForm, put))
    done_on = _day(call, site, given.pop("done_on"), at)
    entry = _entry(call, duty, answers, given)
    theirs = queries.stands_on(duty, done_on)
    if theirs is not None:
        mine = texts(_told(duty, entry), given | {"broken": _ticked(theirs, entry)})
        there = of_line(theirs)
        new = set(entry.photos) - {one["key"] for one in theirs.answers if one["typed"]}
        if mine == there and new and _is_ours(call, theirs):
            return Done(visit, _answer(_put_right(call, theirs, entry)))
        if mine == there:
            words = f"{theirs.inspection.person} noted the same of this task on this day."
            return Done(visit, _answer(theirs), "stood_already", words)
        _require_seen(call, theirs, there)
        if _is_ours(call, theirs):
            return Done(visit, _answer(_put_right(call, theirs, entry)))
    inspecting.require_in_service(duty, done_on)
    _require_near(call, site, done_on)
    clock = device_clocks.words(call.off) if visit is None else ""
    made = record_inspection(
        actor=call.actor, site=site, visit=visit, done_on=done_on, at=at, entries=[entry],
        once=inspecting.round_of(call.actor, call.row, done_on, clock_off=bool(clock)), fills=True,
        note=f"Noted on a device with its {clock}." if clock else "",
    )  # fmt: skip
    return Done(visit, _answer(made.lines.get(key=call.entry.key)))


def _is_ours(call: Call, line: InspectionLine) -> bool:
    return line.inspection.organisation_id == call.actor.organisation_id


def _day(call: Call, site: Site, said: date | None, at: datetime) -> date:
    """That of the stamp, which a clock that is ahead puts no further than now; another day only
    where a person said so."""
    zone = site.time_zone
    if said is None or said == date_at(zone, call.at):
        return date_at(zone, at)
    return said


def _require_near(call: Call, site: Site, done_on: date) -> None:
    """A stamp that was put right leaves the day that the same clock wrote beside it.

    Raises Refused far_from_stamp.
    """
    stamped = date_at(site.time_zone, call.at)
    if call.entry.at is not None and stamped - done_on > dating.NEAR:
        raise Refused(
            "far_from_stamp",
            f"This says that it was done on {day(done_on)}, and it was stamped on {day(stamped)}: "
            "a clock that was wrong meanwhile writes such a day. Open it again and keep it anew; "
            "a round that was really so long ago is noted on the page of the site.",
            "done_on",
        )


def _ticked(theirs: InspectionLine, entry: Entry) -> bool:
    """What no answer shows. An older line does not know its tick where an answer shows a fault too,
    and there nobody is asked to choose between two that may say the same."""
    if theirs.other_fault is not None:
        return entry.broken
    found = inspecting.judged(entry).get("answers", ())
    return entry.broken and all(one["in_order"] for one in found)


def _duty(site: Site, key: str) -> Duty:
    """Raises NotFound; Refused not_asked, other_record."""
    try:
        duty = queries.duty_at(site, uuid.UUID(key))
    except ValueError as error:
        raise Refused("not_asked", "Name the task by its key.", "duty") from error
    inspecting.require_form(duty.requirement)
    if duty.withdrawn_on is not None:
        raise Refused(
            "not_asked",
            f"“{duty.requirement}” is not asked here any more: look at the day again, and note "
            "what was found at the task that stands there now.",
            "duty",
        )
    return duty


def _entry(call: Call, duty: Duty, answers: "str | list[str]", given: Mapping[str, Any]) -> Entry:
    if not isinstance(answers, list):
        raise Refused("not_a_list", "Write a list here.", "answers")
    wants = {want["key"]: want for want in duty.requirement.evidence}
    entered: dict[str, str] = {}
    photos: dict[str, Attachment] = {}
    for answer in answers:
        name, colon, text = (part.strip() for part in answer.partition(":"))
        if not colon or name not in wants:
            raise Refused(
                "unknown_key",
                f"“{answer[:40]}” answers nothing that is asked here; asked are "
                f"{', '.join(wants) or 'none'}, each as its name, a colon and the answer.",
                "answers",
            )
        entered[name] = text
        if wants[name]["kind"] == "photo" and text:
            photos[name] = _photo(call, duty, text)
            entered[name] = photos[name].name
    entry = Entry(
        duty, entered, given["reason"], given["note"], given["broken"], photos, call.entry.key
    )
    if entry.empty:
        raise Refused("nothing_entered", "Nothing is entered of this task yet.", "answers")
    _judge(entry)
    return entry


def _judge(entry: Entry) -> None:
    """The place of what is wrong is the name of a text here, never that of a page."""
    try:
        inspecting.judged(entry)
    except Refused as refusal:
        reason = refusal.place == f"{entry.duty.pk}-reason"
        raise Refused(
            refusal.code, refusal.sentence, "reason" if reason else "answers"
        ) from refusal


def _photo(call: Call, duty: Duty, key: str) -> Attachment:
    """The file of a photo that was handed over before. Raises Refused
    photo_missing, photo_to_come."""
    try:
        kept = answer_to(actor=call.actor, key=uuid.UUID(key), what="photo")
    except ValueError as error:
        raise Refused(
            "photo_missing", "Of a photo its key is the answer, once it was handed over.", "answers"
        ) from error
    if kept is None:
        raise Refused(
            "photo_to_come",
            "It names a photo that has not come in yet; it is taken after that.",
            "answers",
        )
    if kept.get("duty") != str(duty.key):
        raise Refused("photo_missing", "This photo was taken of something else.", "answers")
    file: Attachment = Attachment.objects.get(key=kept["file"], site=duty.site_id)
    return file


def _told(duty: Duty, entry: Entry) -> list[str]:
    if entry.reason.strip():
        return []
    asked = [want for want in duty.requirement.evidence if want["kind"] != "photo"]
    return [
        f"{want['key']}: {text}"
        for want in asked
        if (text := entry.entered.get(want["key"], "").strip())
    ]


def texts(answers: list[str], given: Mapping[str, Any]) -> dict[str, Any]:
    """What an inspection of one task says, as an entry would: photos stand beside it."""
    return {
        "answers": answers,
        "broken": "True" if given["broken"] else "",
        "note": given["note"].strip(),
        "reason": given["reason"].strip(),
    }


def of_line(line: InspectionLine) -> dict[str, Any]:
    answers = [one for one in line.answers if one["kind"] != "photo"]
    return texts(
        [f"{one['key']}: {one['typed']}" for one in answers],
        {
            "broken": line.ticked,
            "note": line.note,
            "reason": "",
        },
    )


def _require_seen(call: Call, line: InspectionLine, there: Mapping[str, Any]) -> None:
    flat = {name: "\n".join(t) if isinstance(t, list) else t for name, t in there.items()}
    if all(call.entry.opened.get(name) == text for name, text in flat.items()):
        return
    sentence = (
        f"{line.inspection.person} noted this task on {day(line.inspection.done_on)} already, as "
        f"{line.get_outcome_display()}, and said something else. Nothing was overwritten: look at "
        "both, and choose."
    )
    raise Crossed({"answers": sentence}, dict(there))


def _put_right(call: Call, line: InspectionLine, entry: Entry) -> InspectionLine:
    """The crew's own line gives way to what a person chose; both stay to be read."""
    wanted = {want["key"] for want in line.requirement.evidence if want["kind"] != "photo"}
    made = correct_inspection(
        actor=call.actor, line=line, at=min(call.at, call.now), once=call.entry.key,
        why=entry.reason or _why(call, line), photos=entry.photos,
        entered={name: text for name, text in entry.entered.items() if name in wanted},
        possible=not entry.reason.strip(), broken=entry.broken, note=entry.note,
        key=call.entry.key,
    )  # fmt: skip
    return made.lines.get()


def _why(call: Call, line: InspectionLine) -> str:
    put = f"{call.actor.person} put this in its place"
    return put if line.inspection.person == call.actor.person else f"Noted by two; {put}"


def _answer(line: InspectionLine) -> dict[str, str]:
    return {"line": str(line.key), "outcome": line.outcome}
