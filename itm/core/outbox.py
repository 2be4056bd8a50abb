"""Promised work: a row written in the transaction of the deed. The broker is only a nudge.

With the broker gone or the process killed the row waits, and the next sweep takes it. Every job may
run twice, so every function it names can.
"""

import logging
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import timedelta
from functools import cache
from importlib import import_module

from django.conf import settings
from django.db import close_old_connections, connection, models, transaction
from django.db.models import Q
from django.utils import timezone

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=10)  # longer than any job that does not `prolong` it; own choice
MOST_TRIES = 8  # with the waits below about two hours; own choice
# A mail server that is away for a night or a day must not lose what was promised: with the waits
# below two days. Each job looks itself whether it is over by then. Own choice.
MAIL_TRIES = 54
GIVEN_UP_SHOWN = timedelta(days=7)  # how long /readyz counts what was given up; own choice

# What a long job answers that did a part and wants another turn: whatever was promised since goes
# first, and its tries are counted anew.
MORE = object()

# The job that this thread runs now, with its lease.
_running: ContextVar[tuple[int, uuid.UUID] | None] = ContextVar("outbox_running", default=None)


class Hopeless(Exception):
    """What a job raises that no waiting mends: given up after MOST_TRIES, whatever its kind."""


class LostLease(Exception):
    """The lease ran out and somebody else has the job: stop here."""


class Job(models.Model):
    kind = models.CharField(max_length=40)
    payload = models.JSONField(default=dict)
    # One promise a key: a repeated deed does not send a mail twice.
    once = models.CharField(max_length=100, null=True, unique=True)  # noqa: DJ001
    made_at = models.DateTimeField(auto_now_add=True)
    not_before = models.DateTimeField(default=timezone.now)
    lease = models.UUIDField(null=True)
    leased_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    done_at = models.DateTimeField(null=True)
    gave_up_at = models.DateTimeField(null=True)
    error = models.TextField(blank=True)

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(
                fields=["not_before"],
                condition=Q(done_at=None, gave_up_at=None),
                name="job_waiting",
            ),
            models.Index(
                fields=["gave_up_at"], condition=Q(gave_up_at__isnull=False), name="job_given_up"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"


def add(kind: str, *, once: str | None = None, **payload: object) -> None:
    """Promise a job inside the caller's transaction; nudge after commit."""
    if once is not None and Job.objects.filter(once=once).exists():
        return
    Job.objects.create(kind=kind, payload=payload, once=once)
    transaction.on_commit(nudge, robust=True)


def claim() -> Job | None:
    """Take the newest waiting job under a lease, or None. Two claimers never get the same one.

    Newest first: somebody waits for the report of what was just signed, nobody for each of a
    batch. How long the oldest lies is on /readyz.
    """
    now, lease = timezone.now(), uuid.uuid4()
    free = Job.objects.filter(
        Q(leased_until=None) | Q(leased_until__lt=now),
        done_at=None,
        gave_up_at=None,
        not_before__lte=now,
    ).order_by("-pk")
    with transaction.atomic():
        if connection.features.has_select_for_update_skip_locked:
            free = free.select_for_update(skip_locked=True)
        pk = free.values_list("pk", flat=True).first()
        if pk is None:
            return None
        Job.objects.filter(pk=pk).update(
            lease=lease, leased_until=now + LEASE, tries=models.F("tries") + 1
        )
    return Job.objects.get(pk=pk, lease=lease)


@cache
def _function(kind: str) -> Callable[..., object]:
    # The worker sits above all apps and names the functions; core knows only where the list is.
    functions: dict[str, Callable[..., object]] = import_module("itm.worker").JOBS
    return functions[kind]


@cache
def _patience(kind: str) -> tuple[int, Callable[..., None] | None]:
    """How often a job of this kind is tried, and who is told when it is given up."""
    told: dict[str, tuple[int, Callable[..., None]]] = import_module("itm.worker").GIVEN_UP
    return told.get(kind, (MOST_TRIES, None))


def run_one() -> bool:
    """Run the next waiting job; False when there is none. A failure is kept and tried again."""
    job = claim()
    if job is None:
        return False
    mine = Job.objects.filter(pk=job.pk, lease=job.lease)
    most, _ = _patience(job.kind)
    if job.tries > most:
        # Every try ended with its process, so none could say that it failed.
        mine.update(error="each try was cut off", leased_until=None, gave_up_at=timezone.now())
        _tell(job)
        return True
    token = _running.set((job.pk, job.lease) if job.lease else None)
    try:
        answer = _function(job.kind)(**job.payload)
    except Exception as error:
        # Any fault of a job must end in its row, or the promise is lost without a trace.
        log.exception("job failed", extra={"job": job.pk, "kind": job.kind})
        now = timezone.now()
        most = min(most, MOST_TRIES) if isinstance(error, Hopeless) else most
        mine.update(
            error=f"{type(error).__name__}: {error}"[:2000],
            lease=None,
            leased_until=None,
            not_before=now + timedelta(seconds=min(30 * 2**job.tries, 3600)),
            gave_up_at=now if job.tries >= most else None,
        )
        if job.tries >= most:
            _tell(job)
    else:
        if answer is MORE:
            mine.update(lease=None, leased_until=None, tries=0, error="")
        else:
            mine.update(done_at=timezone.now(), leased_until=None, error="")
    finally:
        _running.reset(token)
    return True


def prolong(lease: timedelta = LEASE) -> None:
    """A long job says that it is alive, so that nobody begins it a second time. Raises LostLease.

    Outside a job, as in a test that calls the function itself, it is nothing.
    """
    running = _running.get()
    if running is None:
        return
    pk, own = running
    mine = Job.objects.filter(pk=pk, lease=own, done_at=None)
    if not mine.update(leased_until=timezone.now() + lease):
        raise LostLease


def _tell(job: Job) -> None:
    """Whoever waits for the job hears that it is given up; a fault there is one line of the log."""
    _, teller = _patience(job.kind)
    if teller is None:
        return
    try:
        teller(**job.payload)
    except Exception:
        log.exception("nobody was told that it was given up", extra={"job": job.pk})


def drain(limit: int = 1000) -> int:
    """Run waiting jobs until none is left; how many ran."""
    ran = 0
    while ran < limit and run_one():
        ran += 1
    return ran


def waiting() -> models.QuerySet[Job]:
    return Job.objects.filter(done_at=None, gave_up_at=None)


def given_up_lately() -> int:
    return Job.objects.filter(gave_up_at__gte=timezone.now() - GIVEN_UP_SHOWN).count()


_held: ContextVar[bool] = ContextVar("outbox_held", default=False)


@contextmanager
def held() -> Iterator[None]:
    """Promise without a nudge, for a load that promises a great deal. The sweep takes the rows."""
    token = _held.set(True)
    try:
        yield
    finally:
        _held.reset(token)


def nudge() -> None:
    """Say that work is waiting. Loses nothing when it fails: the sweep takes the row."""
    if _held.get():
        return
    if settings.OUTBOX_NUDGE == "thread":
        _drainer.wake()
    elif settings.OUTBOX_NUDGE == "celery":
        try:
            import_module("itm.worker").drain_outbox.apply_async(expires=60)
        except Exception:
            # Whatever the broker's client raises, the hand-in stands and the row waits.
            log.warning("the broker did not take the nudge; the sweep will take the job")


class Drainer:
    """One thread of the server process for the embedded set-up. Sleeps until something is due."""

    SWEEP_SECONDS = 60.0

    def __init__(self) -> None:
        self._asked_at = 0.0
        self._bell = threading.Event()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def wake(self) -> None:
        with self._lock:
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._work, name="outbox", daemon=True)
                self._thread.start()
        self._bell.set()

    def _work(self) -> None:
        while True:
            self._bell.clear()
            pause = self.SWEEP_SECONDS
            try:
                close_old_connections()
                self._by_the_clock()
                drain()
                pause = self._pause()
            except Exception:
                # The thread must outlive a database that is busy or away for a moment.
                log.exception("the outbox thread will try again")
            finally:
                connection.close()
            self._bell.wait(pause)

    def _by_the_clock(self) -> None:
        """Once a minute, what beat does where there are workers."""
        if self._asked_at and time.monotonic() - self._asked_at < self.SWEEP_SECONDS:
            return
        self._asked_at = time.monotonic()
        for deed in import_module("itm.worker").CLOCK.values():
            deed(timezone.now())

    def _pause(self) -> float:
        """Seconds until the next job is due, at most a sweep. What another process has under its
        lease is left to the sweep."""
        now = timezone.now()
        soonest = waiting().filter(not_before__gt=now).order_by("not_before").first()
        if soonest is None:
            return self.SWEEP_SECONDS
        return min(self.SWEEP_SECONDS, (soonest.not_before - now).total_seconds())


_drainer = Drainer()
