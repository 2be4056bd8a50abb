"""Readings of a bench come in from a file, with what its standards were made of, judged as those
that are typed."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core import history
from itm.core.errors import Refused
from itm.intake import taking
from itm.intake.models import Upload
from itm.intake.reading_rows import ReadingRows
from itm.records.drafts import on_bench
from itm.records.many_readings import NewReading, add_readings


@transaction.atomic
def import_readings(*, actor: Actor, key: UUID, at: datetime) -> Upload:
    """All or nothing, in the order of the file. May run twice: taken in once, it is the same.

    Raises NotFound, Forbidden, Conflict; Refused not_ready, changed, not_draft.
    """
    row, opened = taking.begin(actor, key)
    if opened is None:
        return row
    if row.test is None:
        raise Refused("no_test", "Readings go to the bench of one test.")
    readings: list[NewReading] = []
    for _, some in opened.judged():
        readings += some
    taking.require_right(opened.reader.told)
    rows: ReadingRows = opened.rows
    with history.because(f"import of {row.name}"):
        filled = rows.poured.write(actor)
    made = add_readings(
        actor=actor, bench=on_bench(row.test), readings=readings, at=at,
        text=f"{len(readings)} readings from {row.name}",
    )  # fmt: skip
    keys = [str(one.key) for one in made]
    return taking.done(actor=actor, row=row, at=at, made=keys, filled=filled)
