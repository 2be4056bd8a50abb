"""A file that is made while somebody waits: how far it is, what became of it, and until when it
is kept.

The row is the thing that a page shows; the work itself is a promised job (`core/outbox.py`). One
model a kind of file inherits from `Making` and names its folder; its rights stay with its own app.
"""

import hashlib
import time
import uuid
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, BinaryIO, ClassVar

from django.core.files import File
from django.db import models, transaction
from django.db.models import Q

from itm.core import outbox
from itm.core.history import Author, Tracked
from itm.core.outbox import LostLease

NOTED_EVERY = 1.0  # seconds between two notes of how far it is; own choice
CHUNK = 1 << 20  # bytes of a file in memory at a time


def unguessable(row: "Making", filename: str) -> str:
    return f"{row.folder}/{uuid.uuid4().hex}{Path(filename).suffix}"


class Making(Tracked):
    """Asked for, made, kept for a while. The row stays when the file has expired, and says so."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting for its turn"
        MAKING = "making", "being made"
        READY = "ready", "ready"
        FAILED = "failed", "failed"
        CANCELLED = "cancelled", "cancelled"
        EXPIRED = "expired", "expired"

    BUSY = (State.WAITING, State.MAKING)
    folder: ClassVar[str]
    # How far it is says nothing about what anybody decided.
    derived = frozenset({"done", "of", "step"})

    state = models.CharField(max_length=9, choices=State.choices, default=State.WAITING)
    asked_at = models.DateTimeField()
    asked_by = models.CharField(max_length=200)
    step = models.CharField(max_length=80, blank=True)
    done = models.PositiveBigIntegerField(default=0)
    of = models.PositiveBigIntegerField(default=0)
    ended_at = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=500, blank=True)
    file = models.FileField(upload_to=unguessable, blank=True)
    size = models.PositiveBigIntegerField(default=0, help_text="bytes")
    sha256 = models.CharField(max_length=64, blank=True)
    expires_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(state="ready")
                | ~Q(file="") & ~Q(sha256="") & Q(size__gt=0, expires_at__isnull=False),
                name="%(class)s_ready_has_its_file",
            ),
            models.CheckConstraint(
                condition=~Q(state="failed") | ~Q(problem=""),
                name="%(class)s_failed_says_why",
            ),
        ]

    @property
    def busy(self) -> bool:
        return self.state in self.BUSY

    @property
    def percent_done(self) -> int:
        return min(99, int(100 * self.done / self.of)) if self.of else 0


class Stopped(Exception):
    """The row is no longer being made by this run: cancelled, or taken up by another worker."""


class Progress:
    """What a job says while it works, and where it hears that it is to stop.

    Every call may raise Stopped. A note is written once a second at most, and prolongs the lease
    of the job, so that no second worker begins while this one is alive.
    """

    def __init__(self, row: Making) -> None:
        self._rows = type(row)._base_manager.filter(pk=row.pk, state=Making.State.MAKING)
        self._noted_at = 0.0
        self._step, self._done, self._of = "", 0, 0

    def begin(self, step: str, of: int = 0) -> None:
        self._step, self._done, self._of = step, 0, of
        self._note()

    def add(self, done: int = 1) -> None:
        self._done += done
        if time.monotonic() - self._noted_at >= NOTED_EVERY:
            self._note()

    def _note(self) -> None:
        self._noted_at = time.monotonic()
        # Past the history, on purpose: it is `derived`.
        if not self._rows.update(step=self._step, done=self._done, of=self._of):
            raise Stopped
        try:
            outbox.prolong()
        except LostLease as lost:
            raise Stopped from lost


def take_up(model: type[Any], key: uuid.UUID, by: Author) -> Any | None:
    """The row, now being made; None where it was cancelled or is ready. May run twice: what a run
    before it had begun to store goes."""
    with transaction.atomic():
        row = model.objects.select_for_update().filter(key=key).first()
        if row is None or not row.busy:
            return None
        row.state = Making.State.MAKING
        _drop_begun(row)
        row.save(by=by, verb="begun")
    return row


def _drop_begun(row: Any) -> None:
    """What was being stored of a row that never was ready."""
    name, storage = row.file.name, row.file.storage
    if name:
        row.file = ""
        transaction.on_commit(lambda: storage.delete(name), robust=True)


def finish(row: Any, made: BinaryIO, *, by: Author, at: datetime, keep: timedelta) -> bool:
    """Keep the file with its digest; False where the row was cancelled, or taken up by another run,
    meanwhile. The name is noted before the first byte is stored, so that whoever comes after a run
    that was cut off knows what it left."""
    digest = hashlib.sha256()
    made.seek(0)
    while chunk := made.read(CHUNK):
        digest.update(chunk)
    size = made.tell()
    made.seek(0)
    storage = row.file.storage
    name = storage.generate_filename(unguessable(row, "made.zip"))
    if not _note_name(row, name):
        return False
    kept = False
    try:
        if storage.save(name, File(made)) != name:
            raise OSError(f"the store would not take it as {name}")
        with transaction.atomic():
            now = type(row).objects.select_for_update().get(pk=row.pk)
            if now.state == Making.State.MAKING and now.file.name == name:
                now.state, now.size, now.sha256 = Making.State.READY, size, digest.hexdigest()
                now.ended_at, now.expires_at = at, at + keep
                now.save(by=by, verb="ready")
                kept = True
    finally:
        if not kept:
            storage.delete(name)
    return kept


def _note_name(row: Any, name: str) -> bool:
    # Past the history, on purpose: until the row is ready it says only where a run has got to.
    rows = type(row)._base_manager.filter(pk=row.pk, state=Making.State.MAKING)
    return bool(rows.update(file=name))


def end(row: Any, state: str, *, by: Author, at: datetime, problem: str = "") -> bool:
    """Cancelled or failed; False where it had ended already. May run twice."""
    with transaction.atomic():
        now = type(row).objects.select_for_update().get(pk=row.pk)
        if not now.busy:
            return False
        now.state, now.ended_at, now.problem = state, at, problem[:500]
        _drop_begun(now)
        now.save(by=by, verb=state)
    return True


def expire(model: type[Any], at: datetime, by: Author) -> int:
    """Let go of the files whose days are over: each is a copy that can be made again. The row
    stays. May run at any time and twice."""
    over = model.objects.filter(state=Making.State.READY, expires_at__lte=at)
    return sum(_expire(row, by) for row in over)


def _expire(row: Any, by: Author) -> bool:
    with transaction.atomic():
        now = type(row).objects.select_for_update().get(pk=row.pk)
        if now.state != Making.State.READY:
            return False
        name, storage = now.file.name, now.file.storage
        now.file, now.state = "", Making.State.EXPIRED
        now.save(by=by, verb="expired")
        # The row first: a file without a row is only a few bytes too many.
        transaction.on_commit(lambda: storage.delete(name), robust=True)
    return True
