"""A promise is a row: it survives a fault, is kept once, and is given up only in the open."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import transaction
from django.utils import timezone

from itm import worker
from itm.core import outbox
from itm.core.outbox import Job

pytestmark = pytest.mark.django_db


@pytest.fixture
def ran(monkeypatch):
    """A kind of job of the test's own, entered where the real ones are."""
    seen: list[dict] = []

    def work(**payload):
        if payload.get("fails"):
            raise ValueError("no paper")
        seen.append(payload)

    monkeypatch.setitem(worker.JOBS, "test_job", work)
    outbox._function.cache_clear()
    yield seen
    outbox._function.cache_clear()


def test_a_promised_job_runs_once(ran):
    outbox.add("test_job", number=1)
    assert outbox.drain() == 1
    assert outbox.drain() == 0
    assert ran == [{"number": 1}]
    assert Job.objects.get().done_at is not None


def test_one_key_is_one_promise(ran):
    for _ in range(3):
        outbox.add("test_job", once="mail 7", number=1)
    assert outbox.drain() == 1


def test_a_deed_rolled_back_promises_nothing(ran):
    with transaction.atomic():
        outbox.add("test_job", number=1)
        transaction.set_rollback(True)
    assert outbox.drain() == 0


def test_a_failed_job_waits_and_is_tried_again(ran):
    outbox.add("test_job", fails=True)
    assert outbox.drain() == 1
    job = Job.objects.get()
    assert (job.done_at, job.gave_up_at, job.error) == (None, None, "ValueError: no paper")
    assert job.not_before > timezone.now()
    Job.objects.update(not_before=timezone.now(), payload={"number": 2})
    assert outbox.drain() == 1
    assert ran == [{"number": 2}]
    assert Job.objects.get().error == ""


def test_after_its_last_try_a_job_is_given_up_and_stays_to_be_seen(ran):
    outbox.add("test_job", fails=True)
    for _ in range(outbox.MOST_TRIES):
        Job.objects.update(not_before=timezone.now())
        outbox.drain()
    job = Job.objects.get()
    assert (job.tries, job.gave_up_at is None) == (outbox.MOST_TRIES, False)
    Job.objects.update(not_before=timezone.now())
    assert outbox.drain() == 0


def test_a_job_whose_worker_died_is_taken_again_after_its_lease(ran):
    outbox.add("test_job", number=1)
    assert outbox.claim() is not None
    assert outbox.claim() is None
    Job.objects.update(leased_until=timezone.now() - timedelta(seconds=1))
    assert outbox.drain() == 1
    assert ran == [{"number": 1}]


def test_a_broker_that_is_gone_loses_nothing(ran, settings):
    settings.OUTBOX_NUDGE = "celery"
    worker.app.conf.broker_url = "redis://127.0.0.1:1/0"  # nothing listens on port 1
    outbox.nudge()
    outbox.add("test_job", number=1)
    assert outbox.drain() == 1


def test_a_long_job_gives_way_and_goes_on(monkeypatch):
    """What came later goes first, and a part that was done is no try that failed."""
    order: list[str] = []

    def work(name, parts=1):
        order.append(name)
        return outbox.MORE if order.count(name) < parts else None

    monkeypatch.setitem(worker.JOBS, "test_job", work)
    outbox._function.cache_clear()
    outbox.add("test_job", name="long", parts=3)
    assert outbox.run_one()
    outbox.add("test_job", name="short")
    assert Job.objects.get(payload__name="long").tries == 0
    assert outbox.drain() == 3
    assert order == ["long", "short", "long", "long"]
    assert not outbox.waiting().exists()
    outbox._function.cache_clear()


def test_a_job_that_says_it_is_alive_keeps_its_lease_and_one_that_lost_it_hears_so(monkeypatch):
    seen: list[object] = []

    def work():
        outbox.prolong(timedelta(minutes=2))
        seen.append(Job.objects.get().leased_until - timezone.now())
        Job.objects.update(lease=uuid4())
        with pytest.raises(outbox.LostLease):
            outbox.prolong()

    monkeypatch.setitem(worker.JOBS, "test_job", work)
    outbox._function.cache_clear()
    outbox.add("test_job")
    outbox.drain()
    outbox._function.cache_clear()
    assert seen[0] <= timedelta(minutes=2)
    outbox.prolong()  # outside a job it is nothing
