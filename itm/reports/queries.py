"""What may be read of reports: the sealed record behind one, and the file when it is made."""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.files.base import File

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.outbox import Job
from itm.records import check_queries
from itm.records import queries as records
from itm.records.chain import parsed
from itm.records.models import Record, Seal
from itm.records.models.kept import LINKS, on
from itm.reports.models import Report

KIND = "render_report"


@dataclass(frozen=True)
class SealedRecord:
    """The record that a report prints: its document and its digest."""

    seal: Seal
    document: dict[str, Any]

    @property
    def digest(self) -> str:
        return self.seal.digest


def sealed_record(actor: Actor, key: UUID) -> SealedRecord:
    """Raises NotFound for a test that is not the actor's to see, Refused not_sealed."""
    return of_record(records.test(actor, key))


def sealed_check(actor: Actor, key: UUID) -> SealedRecord:
    """The same of a concentrate check."""
    return of_record(check_queries.check(actor, key))


def of_record(record: Record) -> SealedRecord:
    """Raises Refused not_sealed."""
    seal = Seal.objects.filter(**on(record)).first()
    if seal is None:
        raise Refused(
            "not_sealed",
            "This record has no report yet: a report prints a sealed record, and a record is "
            "sealed when a supervisor or manager of the organisation that made it signs it.",
        )
    return SealedRecord(seal, parsed(seal))


def report_bytes(seal: Seal) -> bytes | None:
    """The stored PDF, or None while there is none: not made, lost, or no longer what was made."""
    report = Report.objects.filter(**on(seal.record)).first()
    return None if report is None else intact(report)


def intact(report: Report) -> bytes | None:
    """The file of a report if it is still the file that was stored."""
    try:
        with report.file.open("rb") as file:
            data = _all(file)
    except OSError:
        return None
    return data if hashlib.sha256(data).hexdigest() == report.sha256 else None


def _all(file: File) -> bytes:
    data: bytes = file.read()
    return data


@dataclass(frozen=True)
class Making:
    """How far the promise of a report has come."""

    tries: int
    said: str  # why the last try failed, where that is for a person to read
    next_try: datetime | None


def making(seal: Seal) -> Making:
    """The latest promise of this record's report, kept or not."""
    job = jobs(seal).last()
    if job is None:
        return Making(0, "", None)
    failed = job.error.startswith(Refused.__name__)
    said = job.error.partition(": ")[2] if failed else ""
    return Making(job.tries if job.error else 0, said, job.not_before if job.error else None)


def jobs(seal: Seal) -> Any:
    """Promises of this record's report, the oldest first."""
    return Job.objects.filter(kind=KIND, payload__record_key=str(seal.record.key)).order_by("pk")


def corrected_by(seal: Seal) -> Seal | None:
    """The sealed record that corrects this one, if there is one."""
    link = LINKS[type(seal.record)]
    return Seal.objects.filter(**{f"{link}__amends": seal.record}).first()
