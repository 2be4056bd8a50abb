"""What every import does: begin with a file that is ready, and say at its end that it is in."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.intake import uploads
from itm.intake.looking import Opened, open_ready
from itm.intake.models import Upload
from itm.intake.tables.reading import Told

State = Upload.State


def begin(actor: Actor, key: UUID) -> tuple[Upload, Opened | None]:
    """Under a lock; nothing is opened where it was taken in before, so that a repeat finds that.

    Raises NotFound; Refused not_ready.
    """
    row = uploads.locked(actor, key)
    if row.state == State.DONE:
        return row, None
    if row.state not in (State.READY, State.TAKING):
        raise Refused("not_ready", "Not everything about this file is settled yet.")
    return row, open_ready(actor=actor, row=row)


def require_right(told: Told) -> None:
    """All or nothing: what became wrong since the look refuses the whole file. Refused changed."""
    if told:
        one = told.problems[0]
        more = f" ({told.count - 1} more)" if told.count > 1 else ""
        raise Refused(
            "changed",
            f"Nothing was taken in: since the file was looked through, {one.place} is no longer "
            f"right: {one.sentence}{more}",
        )


def done(*, actor: Actor, row: Upload, at: datetime, **made: Any) -> Upload:
    """Raises Conflict where the same content was taken in at the same moment."""
    row.state, row.taken_at, row.taken_by = State.DONE, at, actor.person
    for name, value in made.items():
        setattr(row, name, value)
    try:
        with transaction.atomic():
            row.save(by=actor, verb="taken in", text=f"{rows_of(row)} of {row.name}")
    except IntegrityError as error:
        raise Conflict("The same content was taken in a moment ago under another name.") from error
    return row


def rows_of(row: Upload) -> str:
    return "1 row" if row.rows == 1 else f"{row.rows:,} rows"


def undone(*, actor: Actor, row: Upload, because: str, at: datetime) -> Upload:
    """Raises Refused reason_missing."""
    if not because.strip():
        raise Refused("reason_missing", "Say why this import is taken back.", "because")
    row.state, row.undone_at, row.undone_by = State.UNDONE, at, actor.person
    row.undone_because = because.strip()[:200]
    row.save(by=actor, verb="taken back", text=because.strip())
    return row
