"""Copies of a batch until they are packed: each a file in the store, so that a worker that is cut
off goes on with the next one.

The name follows from the batch, whose key nobody can guess, and the digest is noted before the
first byte is stored: whoever comes after a run that was killed knows what it may have left.
"""

import hashlib
from datetime import datetime, timedelta

from django.core.files.base import ContentFile

from itm.core.making import Making
from itm.reports.models import Batch


def place(row: Batch, number: int) -> str:
    return f"{Batch.folder}/parts/{row.key.hex}-{number:03d}.pdf"


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def keep(row: Batch, number: int, data: bytes) -> None:
    """In place of what a run before may have left there."""
    storage, name = row.file.storage, place(row, number)
    storage.delete(name)
    if storage.save(name, ContentFile(data)) != name:
        raise OSError(f"the store would not take it as {name}")


def read(row: Batch, number: int) -> bytes | None:
    """None where it is lost, or is not what was made."""
    try:
        with row.file.storage.open(place(row, number)) as kept:
            data: bytes = kept.read()
    except OSError:
        return None
    return data if digest(data) == row.parts.get(row.records[number]) else None


def clear(row: Batch) -> None:
    """All of a row that has ended. May run twice."""
    for number in range(len(row.records)):
        row.file.storage.delete(place(row, number))
    # Past the history on purpose: it is `derived`.
    Batch._base_manager.filter(pk=row.pk).exclude(state__in=Making.BUSY).update(parts={})


def clear_ended(now: datetime, after: timedelta) -> None:
    """Clock: of rows that ended so long ago that no worker is at them any more. May run twice."""
    rows = Batch.objects.exclude(state__in=Making.BUSY).exclude(parts={})
    for row in rows.filter(ended_at__lte=now - after):
        clear(row)
