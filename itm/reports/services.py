"""Make a report and keep it; promise it again where the promise was lost."""

import hashlib
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone

from itm.accounts import actor as actors
from itm.accounts.actor import Actor
from itm.core import outbox
from itm.core.counting import asked_now
from itm.core.errors import Refused, TooMany
from itm.core.measures import Measures, reader, reading_in
from itm.records import check_queries
from itm.records.document_check import KIND as CHECK
from itm.records.models import Record, Seal
from itm.records.models.kept import on
from itm.reports import queries
from itm.reports.address import check_path, verify_address
from itm.reports.choices import SIZES, TYPED, UNITS
from itm.reports.content import paper
from itm.reports.content_check_paper import check_paper
from itm.reports.models import Report
from itm.reports.queries import KIND, SealedRecord
from itm.reports.render import Copy, Sheet, pdf
from itm.reports.units import in_readers_units

IN_UNITS = (
    "Quantities stand in {} where they were typed in others, worked out to four digits; what was "
    "typed stands in brackets, and the record keeps that alone."
)


def report_of(record: SealedRecord) -> Sheet:
    """The content of the report of a sealed record, whatever its kind, as it was typed."""
    return _report_of(record, record.document)


def for_reader(record: SealedRecord) -> tuple[Sheet, str]:
    """The same in the reader's units (`core/measures.py`), and a sentence that says so; no sentence
    where everything was typed in them."""
    document = in_readers_units(record.document)
    if document is record.document:
        return report_of(record), ""
    return _report_of(record, document), IN_UNITS.format(Measures(reader()).label)


def _report_of(record: SealedRecord, document: dict[str, Any]) -> Sheet:
    made = check_paper if document["kind"] == CHECK else paper
    return made(document, digest=record.digest, verify_url=verify_address(record.seal))


def copy_of(record: SealedRecord, size: str, *, as_typed: bool = False) -> bytes:
    """The report once more, on paper of this size and in the reader's units, from the same sealed
    bytes: made at once for whoever asks, and kept by nobody. Unlike that it says where the record
    was corrected since; until then the same bytes for the same units and size. Raises Refused
    unknown_size, pango_missing, foreign_address.
    """
    if size not in SIZES:
        raise Refused("unknown_size", f"Choose one of {', '.join(SIZES.values())}.", "size")
    sheet, units = (report_of(record), "") if as_typed else for_reader(record)
    return pdf(
        sheet, record=bytes(record.seal.document), digest=record.digest,
        copy=Copy(SIZES[size], units, reader() if units else "", _later(record.seal)),
    )  # fmt: skip


def copy_in(record: SealedRecord, size: str, units: str) -> bytes:
    """In units of one's choice, one of UNITS. Raises Refused unknown_units besides."""
    if units not in UNITS:
        raise Refused("unknown_units", f"Choose one of {', '.join(UNITS.values())}.", "units")
    with reading_in(Measures.SI if units == TYPED else units):
        return copy_of(record, size, as_typed=units == TYPED)


def counted_as(actor: Actor) -> str:
    """A person by pages and programs alike."""
    return f"person-{actor.user.pk}" if actor.user else ""


def copy_for(whose: str, record: SealedRecord, size: str, units: str) -> bytes:
    """The same, made while somebody waits: `whose` names who is counted, a person or a link. Raises
    TooMany too_many_copies besides."""
    asked, seconds = asked_now(f"copies-{whose}")
    if asked > settings.COPIES_A_MINUTE:
        raise TooMany(
            "too_many_copies",
            f"That is more than {settings.COPIES_A_MINUTE} copies of reports in a minute. Ask "
            f"again in {seconds} second{'s'[: seconds != 1]}; the report that is kept, and a file "
            "with many reports, are not counted.",
            seconds,
        )
    return copy_in(record, size, units)


def _later(seal: Seal) -> dict[str, Any] | None:
    found = queries.corrected_by(seal)
    if found is None:
        return None
    return {"number": found.number, "url": settings.PUBLIC_URL + check_path(found)}


def render_report(record_key: str) -> None:
    """The job: make the PDF of a sealed record and store it. May run twice.

    A report whose file is still what was stored is left alone; a lost or changed file is made
    anew. Raises Refused not_sealed, pango_missing, foreign_address.
    """
    row = check_queries.record_by_key(UUID(record_key))
    if row is None:
        raise Refused("not_sealed", f"There is no record {record_key} to report on.")
    record = queries.of_record(row)
    report = Report.objects.filter(**on(row)).first()
    if report is not None and queries.intact(report) is not None:
        return
    # Made before any transaction: it takes seconds, and SQLite has one writer.
    made = pdf(report_of(record), record=bytes(record.seal.document), digest=record.digest)
    store(row, report, made)


def store(record: Record, report: Report | None, made: bytes) -> None:
    """Keep the file under a name nobody can guess, with its digest and size."""
    report = report or Report(**on(record))
    lost = report.file.name
    report.sha256, report.size = hashlib.sha256(made).hexdigest(), len(made)
    report.file.save("report.pdf", ContentFile(made), save=False)
    try:
        with transaction.atomic():
            report.save(by=actors.system(timezone.now().date(), via="sweep"))
    except IntegrityError:
        # Another worker ran the same promise at the same time; its report stands.
        report.file.delete(save=False)
    else:
        if lost:
            report.file.storage.delete(lost)


def promise(seal: Seal, *, now: bool = False) -> None:
    """See to it that the report of this record is waiting to be made.

    Nothing is added while a promise waits; `now` takes its next try forward. One that is kept or
    given up, with no report to show for it, is followed by a new one.
    """
    promised = queries.jobs(seal)
    waiting = promised.filter(done_at=None, gave_up_at=None)
    if waiting.exists():
        if now:
            waiting.filter(leased_until=None).update(not_before=timezone.now())
        transaction.on_commit(outbox.nudge, robust=True)
        return
    once = f"{KIND} {seal.record.key} {promised.count()}"
    try:
        with transaction.atomic():
            outbox.add(KIND, once=once, record_key=str(seal.record.key))
    except IntegrityError:
        # Two people looked at the same moment: the promise of the other one is enough.
        return
