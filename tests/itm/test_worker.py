"""The worker's list of jobs and the settings that keep a lost message from being a lost job."""

import time
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import pytest
from celery.app.task import Task

from itm import worker
from itm.core import outbox
from itm.core.outbox import Job
from itm.reports.models import Report
from itm.schedule.models import Duty
from itm.schedule.services import start_duties
from tests.deeds import tested


def test_every_kind_of_promised_work_has_its_function(scene: Any) -> None:
    tested(scene)
    assert set(Job.objects.values_list("kind", flat=True)) <= set(worker.JOBS)


def test_the_task_runs_what_waits_and_may_run_twice(scene: Any) -> None:
    test = tested(scene)
    worker.drain_outbox()
    worker.drain_outbox()
    assert Report.objects.filter(test=test).count() == 1
    assert not outbox.waiting().exists()


def test_the_minute_sweep_names_the_task_and_runs_in_utc() -> None:
    entry = worker.app.conf.beat_schedule["drain-outbox"]
    assert entry["task"] in worker.app.tasks
    assert isinstance(worker.app.tasks[entry["task"]], Task)
    assert entry["schedule"] == 60
    assert worker.app.conf.timezone == "UTC"
    assert worker.app.now().utcoffset() == datetime.now(UTC).utcoffset()


def test_what_the_clock_brings_is_known_to_beat_and_to_the_embedded_drainer() -> None:
    named = {entry["task"] for entry in worker.app.conf.beat_schedule.values()}
    assert named == {"drain_outbox", *worker.CLOCK}
    assert named <= set(worker.app.tasks)


def test_the_standing_is_swept_when_a_day_begins_in_any_zone() -> None:
    """Offsets of the zone database are whole quarters of an hour (IANA tzdata, years to come)."""
    entry = worker.app.conf.beat_schedule["sweep-standing"]
    assert entry["schedule"].minute == {0, 15, 30, 45}
    january, july = datetime(2030, 1, 1, tzinfo=UTC), datetime(2030, 7, 1, tzinfo=UTC)
    offsets = {
        ZoneInfo(zone).utcoffset(day) for zone in available_timezones() for day in (january, july)
    }
    assert {offset.total_seconds() % 900 for offset in offsets if offset is not None} == {0}


def test_the_task_moves_the_standing_of_a_day_and_may_run_twice(scene: Any) -> None:
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    duty = Duty.objects.get()
    Duty._base_manager.update(stands="due", stands_changes_on=duty.latest_on + timedelta(days=1))
    worker.sweep_standing()
    worker.sweep_standing()
    duty.refresh_from_db()
    assert (duty.stands, duty.stands_changes_on) == ("overdue", None)


def test_a_job_goes_back_when_its_worker_dies() -> None:
    conf = worker.app.conf
    assert conf.task_acks_late
    assert conf.task_reject_on_worker_lost
    assert conf.worker_prefetch_multiplier == 1
    assert conf.accept_content == ["json"]
    assert conf.task_ignore_result


def test_a_nudge_to_a_broker_that_is_away_costs_little_and_raises_nothing(
    settings: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    settings.OUTBOX_NUDGE = "celery"
    monkeypatch.setattr(worker.app.conf, "broker_url", "redis://127.0.0.1:1/0")  # nobody listens
    monkeypatch.setattr(worker.app.conf, "broker_write_url", "redis://127.0.0.1:1/0")
    begun = time.monotonic()
    outbox.nudge()
    assert time.monotonic() - begun < 3
    assert "the broker did not take the nudge" in caplog.text


def test_a_promise_stands_though_the_broker_is_away(
    scene: Any, settings: Any, monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:  # fmt: skip
    settings.OUTBOX_NUDGE = "celery"
    monkeypatch.setattr(worker.app.conf, "broker_url", "redis://127.0.0.1:1/0")
    monkeypatch.setattr(worker.app.conf, "broker_write_url", "redis://127.0.0.1:1/0")
    with django_capture_on_commit_callbacks(execute=True):
        outbox.add("render_report", record_key="00000000-0000-0000-0000-000000000000")
    assert outbox.waiting().count() == 1
