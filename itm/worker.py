"""Kinds of promised work and their functions, and the Celery app that drains them at scale.

The outbox row is the promise; a message of the broker only says that work is waiting. So nothing
here is retried, timed or stored by Celery: what fails or is lost waits in its row for the sweep.
"""

import os
from collections.abc import Callable
from datetime import datetime

import django
from celery import Celery
from celery.schedules import crontab
from django.apps import apps
from django.conf import settings
from django.utils import timezone

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "itm.settings")
if not apps.ready:  # a worker starts here; the web has long been set up
    django.setup()

from itm.accounts import entrance
from itm.accounts.inviting import send_invitation
from itm.accounts.passwords import send_reset
from itm.accounts.told import send_told
from itm.api.v1.many_days import take_many_days
from itm.archives.services import TRIES as ARCHIVE_TRIES
from itm.archives.services import archive_given_up, let_go, make_archive
from itm.core import folding, outbox
from itm.doors.files import FILE_TRIES, file_given_up, look_through_file, take_file_in
from itm.findings import overdue
from itm.findings.alarms import sound
from itm.notices import lost
from itm.notices.alarm_mail import send_alarm, send_one_alarm
from itm.notices.at_once import mail_at_once, mail_one_at_once
from itm.notices.gathering import gather
from itm.notices.services import promise_summaries, send_summary
from itm.reports import batches
from itm.reports.services import render_report
from itm.retention.letting import carry_out
from itm.schedule import sweep

JOBS: dict[str, Callable[..., object]] = {
    "look_through_file": look_through_file,
    "mail_at_once": mail_at_once,
    "mail_one_at_once": mail_one_at_once,
    "make_archive": make_archive,
    "make_batch": batches.make_batch,
    "render_report": render_report,
    "send_alarm": send_alarm,
    "send_invitation": send_invitation,
    "send_one_alarm": send_one_alarm,
    "send_reset": send_reset,
    "send_summary": send_summary,
    "send_told": send_told,
    "take_file_in": take_file_in,
    "take_many_days": take_many_days,
}

# Jobs that somebody waits for in front of a page: tried so often, and then the page is told. Mails
# wait longer, and then the organisation of the reader is told.
GIVEN_UP: dict[str, tuple[int, Callable[..., None]]] = {
    "look_through_file": (FILE_TRIES, file_given_up),
    "make_archive": (ARCHIVE_TRIES, archive_given_up),
    "make_batch": (outbox.MOST_TRIES, batches.batch_given_up),
    "mail_at_once": (outbox.MAIL_TRIES, lost.readers_unknown),
    "mail_one_at_once": (outbox.MAIL_TRIES, lost.at_once_lost),
    "send_alarm": (outbox.MAIL_TRIES, lost.readers_unknown),
    "send_invitation": (outbox.MAIL_TRIES, lost.invitation_lost),
    "send_one_alarm": (outbox.MAIL_TRIES, lost.alarm_lost),
    "send_reset": (outbox.MAIL_TRIES, lost.reset_lost),
    "send_summary": (outbox.MAIL_TRIES, lost.summary_lost),
    "send_told": (outbox.MAIL_TRIES, lost.told_lost),
    "take_file_in": (FILE_TRIES, file_given_up),
}

# What the clock brings without a promise. Each may run at any time, twice and beside itself; the
# drainer of the embedded set-up asks once a minute, beat at the times below.
CLOCK: dict[str, Callable[[datetime], None]] = {
    "sweep_standing": sweep.catch_up,
    "promise_summaries": promise_summaries,
    "sound_alarms": sound,
    "open_overdue": overdue.sweep,
    "gather_news": gather,
    "tidy_entrance": entrance.tidy,
    "let_archives_go": let_go,
    "let_files_go": carry_out,
    "expire_batches": batches.expire,
    "fold_history": folding.fold,
}

SWEEP_SECONDS = 60.0
MOST_JOBS = 200  # of one message, so that none comes near the visibility timeout; own choice

app = Celery("itm", broker=settings.REDIS_URL)
app.conf.update(
    timezone="UTC",
    enable_utc=True,
    accept_content=["json"],
    task_serializer="json",
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    worker_max_tasks_per_child=200,  # returns the memory that rendering takes; own choice
    worker_hijack_root_logger=False,  # logs look the same from every process
    broker_connection_retry_on_startup=True,
    # With the broker away a page must not wait: one more try, and sockets that give up.
    task_publish_retry_policy={"max_retries": 1, "interval_start": 0, "interval_max": 0.2},
    broker_transport_options={
        "visibility_timeout": 3600,
        "socket_connect_timeout": 2,
        "socket_timeout": 5,
    },
    beat_schedule={
        "drain-outbox": {
            "task": "drain_outbox",
            "schedule": SWEEP_SECONDS,
            "options": {"expires": SWEEP_SECONDS},  # a worker that was away gets no heap of them
        },
        "sweep-standing": {
            "task": "sweep_standing",
            # The zones of the world begin their day on a quarter of an hour.
            "schedule": crontab(minute="*/15"),
            "options": {"expires": 900.0},
        },
        "promise-summaries": {
            "task": "promise_summaries",
            # After the sweep, so that a mail of the morning tells the day that has begun.
            "schedule": crontab(minute="2-59/15"),
            "options": {"expires": 900.0},
        },
        "sound-alarms": {
            "task": "sound_alarms",
            "schedule": SWEEP_SECONDS,
            "options": {"expires": SWEEP_SECONDS},
        },
        "open-overdue": {
            "task": "open_overdue",
            # After the sweep of standings, as the summary mails and a little before them.
            "schedule": crontab(minute="1-59/15"),
            "options": {"expires": 900.0},
        },
        "gather-news": {
            "task": "gather_news",
            "schedule": SWEEP_SECONDS,
            "options": {"expires": SWEEP_SECONDS},
        },
        "tidy-entrance": {
            "task": "tidy_entrance",
            "schedule": crontab(minute="7"),
            "options": {"expires": 900.0},
        },
        "let-archives-go": {
            "task": "let_archives_go",
            "schedule": crontab(minute="9"),
            "options": {"expires": 900.0},
        },
        "let-files-go": {
            "task": "let_files_go",
            "schedule": crontab(minute="13"),
            "options": {"expires": 900.0},
        },
        "expire-batches": {
            "task": "expire_batches",
            "schedule": crontab(minute="17"),
            "options": {"expires": 900.0},
        },
        "fold-history": {
            "task": "fold_history",
            # More often than it folds, so that a look a moment early loses no hour.
            "schedule": crontab(minute="3-59/10"),
            "options": {"expires": 600.0},
        },
    },
)


@app.task(name="drain_outbox")
def drain_outbox() -> None:
    """Run what waits. May run twice and beside itself: two never claim the same row."""
    outbox.drain(limit=MOST_JOBS)


@app.task(name="sweep_standing")
def sweep_standing() -> None:
    """Move the standings that a day has changed. May run twice and beside itself."""
    CLOCK["sweep_standing"](timezone.now())


@app.task(name="promise_summaries")
def promise_summary_mails() -> None:
    """Promise the summary mails that are owed. May run twice and beside itself."""
    CLOCK["promise_summaries"](timezone.now())


@app.task(name="sound_alarms")
def sound_alarms() -> None:
    """Sound the notice clocks that ran out. May run twice and beside itself."""
    CLOCK["sound_alarms"](timezone.now())


@app.task(name="open_overdue")
def open_overdue() -> None:
    """Open what is a deficiency because it is overdue. May run twice and beside itself."""
    CLOCK["open_overdue"](timezone.now())


@app.task(name="gather_news")
def gather_news() -> None:
    """Tell what the history holds since the last look. May run twice and beside itself."""
    CLOCK["gather_news"](timezone.now())


@app.task(name="tidy_entrance")
def tidy_entrance() -> None:
    """Forget sessions and tries that are over. May run twice and beside itself."""
    CLOCK["tidy_entrance"](timezone.now())


@app.task(name="let_archives_go")
def let_archives_go() -> None:
    """Let go of the archives whose days are over. May run twice and beside itself."""
    CLOCK["let_archives_go"](timezone.now())


@app.task(name="let_files_go")
def let_files_go() -> None:
    """Carry out decisions whose waiting is over. May run twice and beside itself."""
    CLOCK["let_files_go"](timezone.now())


@app.task(name="expire_batches")
def expire_batches() -> None:
    """Let go of files of reports whose days are over. May run twice and beside itself."""
    CLOCK["expire_batches"](timezone.now())


@app.task(name="fold_history")
def fold_history() -> None:
    """Fold the lines of the history that rested. May run twice and beside itself."""
    CLOCK["fold_history"](timezone.now())
