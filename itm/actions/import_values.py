"""Values of concentrate bottles come in from a table, judged as those that are typed."""

from collections import defaultdict
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core import history
from itm.intake import taking
from itm.intake.models import Upload
from itm.intake.value_rows import Paper, ValueRows
from itm.records import sampling
from itm.records.many_values import NewValue, add_values
from itm.records.models import LaboratoryReport
from itm.registry import attaching
from itm.registry.files import TABLES, Inspected


@transaction.atomic
def import_values(*, actor: Actor, key: UUID, at: datetime) -> Upload:
    """All or nothing, of bottles of any number of checks. A report that the table names and a check
    lacks is attached with the table as its paper. May run twice: taken in once, it is the same.

    Raises NotFound, Forbidden, Conflict; Refused not_ready, changed, not_draft, withdrawn.
    """
    row, opened = taking.begin(actor, key)
    if opened is None:
        return row
    values: list[NewValue] = []
    for _, some in opened.judged():
        values += some
    taking.require_right(opened.reader.told)
    rows: ValueRows = opened.rows
    made = [one.key for one in add_values(actor=actor, values=values, at=at, name=row.name)]
    filled: dict[str, dict[str, str]] = defaultdict(dict)
    reports: list[LaboratoryReport] = []
    try:
        with history.because(f"import of {row.name}"):
            for paper in rows.papers.values():
                if paper.there is None:
                    reports.append(_attached(actor, row, paper, at))
                    continue
                joined = list(paper.samples.values())
                sampling.join_report(actor=actor, report=paper.there, samples=joined)
                for sample in joined:
                    filled[str(sample.key)]["report"] = str(paper.there.key)
            for sample, on in rows.arrived.values():
                sampling.change_sample(actor=actor, sample=sample, at=at, received_on=on)
                filled[str(sample.key)]["received_on"] = on.isoformat()
        keys = [str(key) for key in (*made, *(report.key for report in reports))]
        return taking.done(actor=actor, row=row, at=at, made=keys, filled=filled)
    except BaseException:  # the rows go with the transaction; the files would stay
        for report in reports:
            report.file.delete(save=False)
        raise


def _attached(actor: Actor, row: Upload, paper: Paper, at: datetime) -> LaboratoryReport:
    """The table is the laboratory's answer, so its bytes are kept and sealed with the check."""
    told = Inspected(row.name, TABLES[row.form][0], row.size, row.sha256, b"")
    file: Any = row.file.open("rb")
    with file:
        made: LaboratoryReport = sampling.attach_report(
            actor=actor, check=paper.check, upload=attaching.Upload(file, row.name),
            laboratory=paper.laboratory, number=paper.number, reported_on=paper.reported_on,
            samples=list(paper.samples.values()), at=at, table=told,
        )  # fmt: skip
    return made
