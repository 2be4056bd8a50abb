"""A file through all its steps, as the pages walk them."""

import io
from typing import Any

from django.utils import timezone

from itm.accounts.actor import Actor
from itm.doors.files import look_through, take_up
from itm.intake import uploads
from itm.intake.models import Upload


def handed_in(actor: Actor, kind: str, data: str | bytes, *, name: str = "table.csv", **more: Any):
    """Kept and looked through."""
    raw = data.encode() if isinstance(data, str) else data
    row, repeated = uploads.take_in(
        actor=actor, kind=kind, file=io.BytesIO(raw), name=name, at=timezone.now(), **more
    )
    return row if repeated else look_through(actor=actor, row=uploads.upload(actor, row.key))


def answered(actor: Actor, row: Upload, **answers: str) -> Upload:
    uploads.answer(actor=actor, row=row, answers=answers)
    return look_through(actor=actor, row=uploads.upload(actor, row.key))


def taken(actor: Actor, kind: str, data: str | bytes, **more: Any) -> Upload:
    row = handed_in(actor, kind, data, **more)
    assert row.state == "ready", row.findings
    return take_up(actor=actor, row=row, at=timezone.now())


def told(row: Upload) -> list[tuple[str, str]]:
    return [(one["place"], one["code"]) for one in row.findings.get("problems", [])]
