"""The reports of many records in one file: asked for, made by the worker, kept for a while.

Each report is the one that the page of its record opens (`services.render_report`), or a copy of it
on other paper and in other units (`batch_parts`). What was made stays made: a worker that is cut
off goes on where it was, and a record that fails is named and keeps none of the others back.
"""

import logging
import tempfile
import time
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any, BinaryIO
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from itm.accounts import actor as actors
from itm.accounts.actor import Actor, acting
from itm.accounts.models import Membership
from itm.core import making, outbox
from itm.core.csv_text import csv_text
from itm.core.errors import ItmError, NotFound, Refused
from itm.core.making import Making, Stopped
from itm.core.outbox import LostLease
from itm.records.models import ConcentrateCheck, ProportioningTest, Seal
from itm.records.models.kept import LINKS
from itm.registry.finding import Wanted, arranged
from itm.reports import batch_parts, choices, queries
from itm.reports.choices import SIZES, TYPED, UNITS
from itm.reports.models import Batch, Report
from itm.reports.naming import file_name, thing
from itm.reports.queries import SealedRecord, of_record
from itm.reports.services import copy_in, render_report

log = logging.getLogger(__name__)

MOST = 500  # reports in one file: some minutes of a worker and about 50 MB; own choice
KEPT = timedelta(days=7)  # own choice: it can be asked for again
MAKING, PACKING = "Making the reports", "Packing them"
SLICE = 10.0  # seconds of work before whatever else is promised has its turn; own choice
LEASE = timedelta(minutes=2)  # of a worker that says nothing: longer than any one report takes
TWICE = 2  # a record that ends its worker so often is left out; own choice
GAVE_UP = (
    "Making it was cut off several times. Ask again; if it fails again, tell whoever runs this "
    "server the time of this page."
)
SERVER_FAULT = (
    "making it failed on the server; whoever runs the server finds the reason in its log, and "
    "nothing of the record is lost"
)
CUT_OFF = "the worker was cut off twice while making it"
NOT_YOURS = "it is no longer yours to see"
MODELS: dict[str, Any] = {Batch.Kind.TESTS: ProportioningTest, Batch.Kind.CHECKS: ConcentrateCheck}
LIST_HEAD = ("File", "Record", "Site", "Of", "Tag", "Digest of the record", "SHA-256 of the PDF")
FAILED_HEAD = ("Record", "Why it is not here")
SORTS = {"asked_at": "asked_at"}


# Reading ------------------------------------------------------------------------------------------


def batches(actor: Actor) -> QuerySet[Batch]:
    return Batch.objects.visible_to(actor)


def listed(actor: Actor, wanted: Wanted) -> QuerySet[Batch]:
    """The newest first."""
    asked = Wanted(find=wanted.find, sort=wanted.sort or "-asked_at")
    return arranged(batches(actor), asked, find_in=("words",), sorts=SORTS, retirable=False)


def batch(actor: Actor, key: UUID) -> Batch:
    row = batches(actor).filter(key=key).first()
    if row is None:
        raise NotFound("file of reports", key)
    return row


def sealed_among(rows: QuerySet[Any]) -> list[str]:
    """Keys of those of a list that have a report, in the order of the list; one more than fits in
    a file at most."""
    keys = rows.filter(sealed_at__isnull=False).values_list("key", flat=True)[: MOST + 1]
    return [str(key) for key in keys]


def failures(row: Batch) -> list[tuple[str, str]]:
    """What each is of, and why, in the order of the list."""
    return [(row.failures[key][0], row.failures[key][1]) for key in row.records
            if key in row.failures]  # fmt: skip


def require_yours(actor: Actor, row: Batch) -> None:
    """A file outlives an engagement, so it is asked again whether all in it may be seen. Raises
    Refused not_yours_any_more."""
    inside = [key for key in row.records if key not in row.failures]
    seen = MODELS[row.kind].objects.visible_to(actor).filter(key__in=inside).count()
    if seen != len(inside):
        raise Refused(
            "not_yours_any_more",
            f"{len(inside) - seen} of the {len(inside)} records in this file are no longer yours "
            "to see. Ask for a new one with those that are.",
        )


# Asking -------------------------------------------------------------------------------------------


def require_bound(keys: Sequence[str]) -> None:
    """Raises Refused nothing_sealed, too_many."""
    if not keys:
        raise Refused(
            "nothing_sealed",
            "None of these records is sealed, and only a sealed record has a report. Narrow the "
            "list otherwise.",
        )
    if len(keys) > MOST:
        raise Refused(
            "too_many",
            f"More than {MOST} sealed records fit, and one file holds at most {MOST} reports. "
            "Narrow the list, for example to one site or one year, and ask for the parts.",
        )


@transaction.atomic
def ask(
    *, actor: Actor, kind: str, keys: Sequence[str], words: str, at: datetime,
    paper: str = choices.KEPT, units: str = TYPED,
) -> Batch:  # fmt: skip
    """Promise the file: of the reports that are kept, or of copies on other paper or in other
    units. Raises Refused nothing_sealed, too_many, busy; Refused not_valid for other paper or
    units than there are."""
    require_bound(keys)
    if paper not in SIZES or units not in UNITS:
        said = f"Choose one of {', '.join((*SIZES.values(), *UNITS.values()))}."
        raise Refused("not_valid", said, "paper" if paper not in SIZES else "units")
    member = Membership.objects.select_for_update().filter(
        user=actor.user, organisation=actor.organisation_id, ended_on=None
    ).get()  # fmt: skip
    if Batch.objects.filter(member=member, state__in=Making.BUSY).exists():
        raise Refused(
            "busy",
            "The file that you asked for last is being made still: wait for it, or cancel it.",
        )
    row: Batch = Batch.objects.create(
        by=actor, organisation=actor.organisation, member=member, kind=kind, words=words[:300],
        records=list(keys), asked_at=at, asked_by=actor.person, of=len(keys),
        paper=paper, units=units,
    )  # fmt: skip
    outbox.add("make_batch", batch=str(row.key))
    return row


def ask_again(*, actor: Actor, row: Batch, at: datetime) -> Batch:
    """The same records once more, those that are still to be seen. Raises what `ask` does."""
    rows = MODELS[row.kind].objects.visible_to(actor).filter(key__in=row.records)
    seen = {str(key) for key in rows.values_list("key", flat=True)}
    keys = [key for key in row.records if key in seen]
    return ask(
        actor=actor, kind=row.kind, keys=keys, words=row.words, at=at, paper=row.paper,
        units=row.units,
    )  # fmt: skip


def cancel(*, actor: Actor, row: Batch, at: datetime) -> bool:
    """False where it had ended already. May run twice."""
    return making.end(row, Making.State.CANCELLED, by=actor, at=at)


# Making -------------------------------------------------------------------------------------------


def make_batch(batch: str) -> object:
    """Job. Works for a slice and goes on in the next; may run twice, and after being cut off goes
    on where it was."""
    now = timezone.now()
    by = actors.system(now.date(), via="sweep", at=now)
    row: Batch | None = making.take_up(Batch, UUID(batch), by)
    if row is None:
        _clear(batch)
        return None
    member = Membership.objects.select_related("user", "organisation").get(pk=row.member_id)
    if member.ended_on is not None and member.ended_on <= now.date():
        problem = f"{row.asked_by} no longer belongs to the organisation that asked."
        making.end(row, Making.State.FAILED, by=by, at=now, problem=problem)
        return None
    who = acting(member, now.date(), via="file", at=now)
    try:
        if not _make_reports(row, who):
            return outbox.MORE
        if row.made == 0:
            problem = "None of the reports could be made; the reasons stand below."
            making.end(row, Making.State.FAILED, by=by, at=timezone.now(), problem=problem)
            return None
        with _packed(row) as made:
            making.finish(row, made, by=by, at=timezone.now(), keep=KEPT)
    except Stopped:
        log.info("a batch was stopped", extra={"batch": batch})
    _clear(batch)
    return None


def _clear(batch: str) -> None:
    """Copies of a row that has ended; of one that another worker took up they stay."""
    row = Batch.objects.filter(key=UUID(batch)).exclude(state__in=Making.BUSY).first()
    if row is not None and not row.as_kept:
        batch_parts.clear(row)


def batch_given_up(batch: str) -> None:
    """Its page stops waiting and says what to do. May run twice."""
    now = timezone.now()
    row = Batch.objects.filter(key=UUID(batch)).first()
    if row is not None:
        by = actors.system(now.date(), via="sweep", at=now)
        making.end(row, Making.State.FAILED, by=by, at=now, problem=GAVE_UP)


def expire(now: datetime) -> None:
    """Clock: let go of files whose days are over. May run at any time and twice."""
    making.expire(Batch, now, actors.system(now.date(), via="sweep", at=now))
    batch_parts.clear_ended(now, LEASE)


def _make_reports(row: Batch, who: Actor) -> bool:
    """One after the other until the slice is over; True when all are there or named. Raises
    Stopped."""
    ends = time.monotonic() + SLICE
    over = False
    row.tried += 1
    _note(row, MAKING)
    while row.at < len(row.records) and not over:
        key = row.records[row.at]
        if why := _made(row, key, who):
            row.failures[key] = why
        over = time.monotonic() > ends
        row.at, row.tried = row.at + 1, 0 if over else 1
        _note(row, MAKING)
    return row.at == len(row.records)


def _made(row: Batch, key: str, who: Actor) -> tuple[str, str] | None:
    """See to it that the report or its copy is there; what the record is and why not, where it
    cannot be. Raises Stopped."""
    record = MODELS[row.kind].objects.visible_to(who).filter(key=key).first()
    if record is None:
        return "A record", NOT_YOURS
    if row.tried > TWICE:
        return str(record), CUT_OFF
    try:
        if row.as_kept:
            render_report(key)
        else:
            _copy(row, key, record)
    except Stopped:
        raise
    except ItmError as refusal:
        return str(record), refusal.sentence
    except Exception:
        # Whatever it is, it is this record's alone: the others must not wait for it.
        log.exception("a report of a batch failed", extra={"record": key})
        return str(record), SERVER_FAULT
    return None


def _copy(row: Batch, key: str, record: Any) -> None:
    made = copy_in(of_record(record), row.paper, row.units)
    row.parts[key] = batch_parts.digest(made)
    _note(row, MAKING)
    batch_parts.keep(row, row.at, made)


def _note(row: Batch, step: str) -> None:
    """How far it is, past the history on purpose: it is `derived`. Raises Stopped where the row
    was cancelled or is another worker's."""
    rows = Batch._base_manager.filter(pk=row.pk, state=Making.State.MAKING, at__lte=row.at)
    noted = {name: getattr(row, name) for name in ("at", "tried", "failures", "parts")}
    noted |= {"step": step, "done": row.at}
    if not rows.update(**noted):
        raise Stopped
    try:
        outbox.prolong(LEASE)
    except LostLease as lost:
        raise Stopped from lost


# Packing ------------------------------------------------------------------------------------------


@contextmanager
def _packed(row: Batch) -> Iterator[BinaryIO]:
    """The file, with a list of what is in it and of what is not. Memory does not grow with it, and
    without a name it goes with its process, however that ends."""
    with tempfile.TemporaryFile() as made:
        with zipfile.ZipFile(made, "w", compression=zipfile.ZIP_DEFLATED) as packed:
            lines = list(_pack_reports(row, packed))
            _add_text(packed, "list.csv", csv_text(LIST_HEAD, lines), row.asked_at)
            if row.failures:
                text = csv_text(FAILED_HEAD, failures(row))
                _add_text(packed, "not-in-this-file.csv", text, row.asked_at)
        yield made


def _pack_reports(row: Batch, packed: zipfile.ZipFile) -> Iterator[tuple[str, ...]]:
    """A report that is not there any more, or not what was stored, is named among the failures."""
    link = LINKS[MODELS[row.kind]]
    for number, key in enumerate(row.records, 1):
        if key in row.failures:
            continue
        seal = Seal.objects.select_related(link).get(**{f"{link}__key": key})
        record = of_record(seal.record)
        data = _stored(row, number - 1, seal)
        if data is None:
            row.failures[key] = (
                str(seal.record),
                "the stored file is not what was made: ask again",
            )
            _note(row, PACKING)
            continue
        name = f"{number:03d}-{file_name(record, _set_apart(row))}"
        entry = zipfile.ZipInfo(name, _dos_time(seal.sealed_at))
        entry.compress_type = zipfile.ZIP_STORED  # a PDF is packed already
        entry.external_attr = 0o644 << 16
        packed.writestr(entry, data)
        _note(row, PACKING)
        yield _listed_line(name, record, batch_parts.digest(data))


def _stored(row: Batch, number: int, seal: Seal) -> bytes | None:
    """The report that is kept, or the copy that was made of it."""
    if not row.as_kept:
        return batch_parts.read(row, number)
    return queries.intact(Report.objects.get(**{LINKS[MODELS[row.kind]]: seal.record}))


def _set_apart(row: Batch) -> str:
    """What sets the name of a copy apart from that of the report."""
    if row.as_kept:
        return ""
    return row.paper if row.units == TYPED else f"{row.paper}-{row.units}"


def _listed_line(name: str, record: SealedRecord, sha256: str) -> tuple[str, ...]:
    what, tag = thing(record.document)
    site = record.document["site"]["name"]
    return (name, str(record.seal.number), site, what, tag, record.digest, sha256)


def _add_text(packed: zipfile.ZipFile, name: str, text: str, at: datetime) -> None:
    entry = zipfile.ZipInfo(name, _dos_time(at))
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o644 << 16
    packed.writestr(entry, text.encode())


def _dos_time(at: datetime) -> tuple[int, int, int, int, int, int]:
    """The clock of the format knows no zone and begins in 1980: UTC."""
    there = at.astimezone(UTC)
    return (max(there.year, 1980), there.month, there.day, there.hour, there.minute, there.second)
