"""Writes of the bottles of a concentrate check: taken, sent away, answered, withdrawn."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.core.files.base import File
from django.db import transaction
from django.db.models import Q

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.core.figures import day
from itm.records import merge
from itm.records.checking import locked_check
from itm.records.models import ConcentrateCheck, ConcentrateSample, LaboratoryReport
from itm.registry.attaching import Upload
from itm.registry.files import Inspected, inspect

SENT = ("laboratory", "sent_on", "consignment", "received_on")


def stem_of_labels(check: ConcentrateCheck) -> str:
    """Tank and day, with which every proposed label of the check begins; short enough to leave room
    for the point and a number."""
    return f"{check.tank.tag[:20]} {check.checked_on:%y%m%d} "


def labels_taken(checks: Iterable[ConcentrateCheck]) -> list[str]:
    """What stands on a bottle already of all that could be proposed for these checks of one
    organisation: of every check and of whatever state, since labels are unique in it."""
    like = Q(pk__in=[])
    for check in checks:
        stem = stem_of_labels(check)
        like |= Q(organisation=check.organisation_id, label__startswith=stem)
    rows = ConcentrateSample.objects.filter(like)
    return sorted(set(rows.values_list("label", flat=True)))


def proposed_label(check: ConcentrateCheck, point: str) -> str:
    """Tank, day and point, with a number where that is taken: short enough for a bottle."""
    base = f"{stem_of_labels(check)}{point}"[:36]
    taken = labels_taken([check])
    numbered = (f"{base} {n}" for n in range(2, len(taken) + 3))
    return next(label for label in (base, *numbered) if label not in taken)


@transaction.atomic
def add_sample(
    *, actor: Actor, check: ConcentrateCheck, label: str, point: str, taken_at: datetime,
    taken_by: str = "", look: str = "", key: uuid.UUID | None = None,
) -> ConcentrateSample:  # fmt: skip
    """One bottle. May run twice by its `key`. Raises Forbidden; Refused not_draft, label_missing,
    label_taken, other_day, not_circulated."""
    row = locked_check(actor, check)
    if key is not None:
        there = ConcentrateSample.objects.filter(key=key, concentrate_check=row).first()
        if there is not None:
            return there
    _require_label(row, label)
    _require_place_and_day(row, point, taken_at)
    made: ConcentrateSample = ConcentrateSample.objects.create(
        by=actor, concentrate_check=row, organisation=row.organisation, label=label.strip(),
        point=point, taken_at=taken_at, taken_by=taken_by.strip() or actor.person,
        look=look.strip(), **({"key": key} if key else {}),
    )  # fmt: skip
    return made


def _require_label(
    check: ConcentrateCheck, label: str, itself: ConcentrateSample | None = None
) -> None:
    if not label.strip():
        raise Refused("label_missing", "Write what stands on the bottle.", "label")
    rows = ConcentrateSample.objects.filter(
        organisation=check.organisation_id, label=label.strip(), copied=False
    )
    if itself is not None:
        rows = rows.exclude(pk=itself.pk)
    if (there := rows.select_related("concentrate_check__tank").first()) is not None:
        raise Refused(
            "label_taken",
            f"“{there.label}” is a bottle of {there.concentrate_check} already: a laboratory "
            "tells bottles by their label alone, so give this one another.",
            "label",
        )


def _require_place_and_day(check: ConcentrateCheck, point: str, taken_at: datetime) -> None:
    on = date_at(check.site.time_zone, taken_at)
    if on != check.checked_on:
        raise Refused(
            "other_day",
            f"This check is of {day(check.checked_on)}, and the bottle was taken on {day(on)}: "
            "change the day of the check, or begin another.",
            "taken_at",
        )
    if point == ConcentrateSample.Point.RECIRCULATED and not check.circulated:
        raise Refused(
            "not_circulated",
            "This check says that the tank was not circulated: say there that it was, or choose "
            "the point where the bottle was really filled.",
            "point",
        )


def _locked(actor: Actor, sample: ConcentrateSample) -> ConcentrateSample:
    locked_check(actor, sample.concentrate_check)
    rows = ConcentrateSample.objects.select_related("concentrate_check__site")
    found: ConcentrateSample = rows.select_for_update(of=("self",)).get(pk=sample.pk)
    return found


@transaction.atomic
def change_sample(
    *, actor: Actor, sample: ConcentrateSample, at: datetime,
    opened: Mapping[str, str] | None = None, **entered: Any,
) -> ConcentrateSample:  # fmt: skip
    """Label, point, time, look, and the way to the laboratory. Sending it completes nothing.

    Raises Forbidden; Refused not_draft, label_missing, label_taken, other_day, not_circulated,
    laboratory_missing, sent_before_taken, received_before_sent, day_ahead; Conflict.
    """
    row = _locked(actor, sample)
    merge.put(row, entered, opened)
    _require_label(row.concentrate_check, row.label, row)
    _require_place_and_day(row.concentrate_check, row.point, row.taken_at)
    require_way(row, date_at(row.concentrate_check.site.time_zone, at))
    row.save(by=actor)
    return row


def require_way(row: ConcentrateSample, today: date) -> None:
    """Raises Refused not_sent, laboratory_missing, sent_before_taken, received_before_sent,
    day_ahead."""
    if row.sent_on is None:
        if row.received_on is not None:
            raise Refused(
                "not_sent", "It cannot have arrived before it was sent; write that day.", "sent_on"
            )
        return
    if not row.laboratory.strip():
        raise Refused("laboratory_missing", "Name the laboratory it was sent to.", "laboratory")
    taken_on = row.concentrate_check.checked_on
    if row.sent_on < taken_on:
        raise Refused("sent_before_taken", f"It was only taken on {day(taken_on)}.", "sent_on")
    if row.received_on is not None and row.received_on < row.sent_on:
        raise Refused(
            "received_before_sent", f"It was only sent on {day(row.sent_on)}.", "received_on"
        )
    for name in ("sent_on", "received_on"):
        value = getattr(row, name)
        if value is not None and value > today:
            raise Refused("day_ahead", "This day has not come yet.", name)


@transaction.atomic
def withdraw_sample(
    *, actor: Actor, sample: ConcentrateSample, reason: str, seen: Mapping[str, str] | None = None
) -> ConcentrateSample:
    """Broken, lost, wrongly filled: it stays with its reason and counts no more. May run twice.

    `seen` holds another reason that the person saw and replaces. Raises Forbidden; Crossed; Refused
    not_draft, reason_missing.
    """
    row = _locked(actor, sample)
    if not reason.strip():
        raise Refused("reason_missing", "Say why this bottle does not count.", "reason")
    merge.say(row, "withdrawn_reason", reason.strip(), seen)
    row.save(by=actor, verb="withdrawn")
    return row


@transaction.atomic
def bring_back_sample(
    *, actor: Actor, sample: ConcentrateSample, seen: Mapping[str, str] | None = None
) -> ConcentrateSample:
    """Undo of `withdraw_sample`, of the reason that was `seen`. May run twice.

    Raises Forbidden; Refused not_draft; Crossed.
    """
    row = _locked(actor, sample)
    merge.require_seen(row, seen, "withdrawn_reason")
    row.withdrawn_reason = ""
    row.save(by=actor, verb="brought back")
    return row


@transaction.atomic
def attach_report(
    *, actor: Actor, check: ConcentrateCheck, upload: Upload, laboratory: str, number: str,
    reported_on: date, samples: Sequence[ConcentrateSample], at: datetime,
    key: uuid.UUID | None = None, table: Inspected | None = None,
) -> LaboratoryReport:  # fmt: skip
    """The paper of the laboratory, on the bottles that it answers for. May run twice by its `key`.
    `table` is what a table is that was read: no picture and no PDF, and a laboratory's answer.

    Raises Forbidden; Refused not_draft, samples_missing, report_there, before_samples, day_ahead
    and what `files.inspect` refuses.
    """
    row = locked_check(actor, check)
    if key is not None:
        there = LaboratoryReport.objects.filter(key=key, concentrate_check=row).first()
        if there is not None:
            return there
    require_report(row, laboratory, number, reported_on, date_at(row.site.time_zone, at))
    if report_at(row, laboratory, number) is not None:
        raise Refused("report_there", "This report of this laboratory is here already.", "number")
    chosen = list(row.samples.in_use().filter(pk__in=[sample.pk for sample in samples]))
    if not chosen:
        raise Refused("samples_missing", "Choose the bottles that this report is about.", "samples")
    found = table or inspect(upload.file, upload.name)
    upload.file.seek(0)
    report = LaboratoryReport(
        concentrate_check=row, laboratory=laboratory.strip(), number=number.strip(),
        reported_on=reported_on, name=found.name, content_type=found.content_type,
        size=found.size, sha256=found.sha256, added_by=actor.person, added_at=at,
        **({"key": key} if key else {}),
    )  # fmt: skip
    report.file.save(f"file{found.suffix}", File(upload.file), save=False)
    try:
        report.save(by=actor, verb="attached")
        for sample in chosen:
            sample.report = report
            sample.save(by=actor)
    except BaseException:  # the row goes with the transaction; the file would stay
        report.file.delete(save=False)
        raise
    return report


def require_report(
    check: ConcentrateCheck, laboratory: str, number: str, on: date, today: date
) -> None:
    """Raises Refused laboratory_missing, number_missing, before_samples, day_ahead."""
    if not laboratory.strip():
        raise Refused("laboratory_missing", "Name the laboratory.", "laboratory")
    if not number.strip():
        raise Refused("number_missing", "Write the number of the report.", "number")
    if on < check.checked_on:
        raise Refused(
            "before_samples",
            f"The bottles were taken on {day(check.checked_on)}; a report of them is later.",
            "reported_on",
        )
    if on > today:
        raise Refused("day_ahead", "This day has not come yet.", "reported_on")


def report_at(check: ConcentrateCheck, laboratory: str, number: str) -> LaboratoryReport | None:
    """The one of that name, if the check has it."""
    return check.laboratory_reports.filter(
        laboratory=laboratory.strip(), number=number.strip(), withdrawn_reason=""
    ).first()


@transaction.atomic
def withdraw_report(*, actor: Actor, report: LaboratoryReport, reason: str) -> LaboratoryReport:
    """The wrong paper: it stays with its reason, and its bottles wait again. May run twice.

    Raises Forbidden; Refused not_draft, reason_missing.
    """
    locked_check(actor, report.concentrate_check)
    if not reason.strip():
        raise Refused("reason_missing", "Say why this report does not count.", "reason")
    row = LaboratoryReport.objects.select_for_update().get(pk=report.pk)
    row.withdrawn_reason = reason.strip()
    row.save(by=actor, verb="withdrawn")
    for sample in row.samples.all():
        sample.report = None
        sample.save(by=actor)
    return row


@transaction.atomic
def join_report(
    *, actor: Actor, report: LaboratoryReport, samples: Sequence[ConcentrateSample]
) -> None:
    """A report that is attached already answers for these bottles too. May run twice.

    Raises Forbidden; Refused not_draft.
    """
    locked_check(actor, report.concentrate_check)
    for sample in samples:
        sample.report = report
        sample.save(by=actor)


@transaction.atomic
def take_out(*, actor: Actor, sample: ConcentrateSample, filled: Mapping[str, str]) -> None:
    """Empty again what a table filled, where nobody changed it since. May run twice.

    Raises Forbidden; Refused not_draft.
    """
    row = _locked(actor, sample)
    for name, was in filled.items():
        now = getattr(row, name)
        if now is not None and str(getattr(now, "key", now)) == was:
            setattr(row, name, None)
    row.save(by=actor)
