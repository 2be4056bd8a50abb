"""Asked for, made by the worker, cancelled, given up, let go."""

from datetime import timedelta

import pytest
import time_machine
from django.core.files.storage import default_storage
from django.utils import timezone

from itm.archives import services
from itm.archives.models import SiteArchive
from itm.core import outbox
from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.core.history import Change
from itm.core.making import Progress, Stopped
from itm.core.outbox import Job, LostLease
from tests.deeds import tested
from tests.factories import actor_of

pytestmark = pytest.mark.django_db


def asked(scene):
    return services.ask(actor=scene.owner, site=scene.site, at=timezone.now())


def again(row):
    return SiteArchive.objects.get(pk=row.pk)


def test_what_was_asked_for_is_made_by_the_worker_and_kept_for_a_week(scene):
    tested(scene)
    row = asked(scene)
    assert row.state == "waiting"
    assert outbox.drain() >= 1
    row = again(row)
    assert row.state == "ready"
    assert row.expires_at == row.ended_at + timedelta(days=7)
    assert row.file.storage.size(row.file.name) == row.size
    assert row.newest_seal == scene.site.seals.get().digest
    assert [one.verb for one in Change.objects.filter(object_key=row.key).order_by("pk")] == [
        "asked", "begun", "written", "ready",
    ]  # fmt: skip


def test_a_second_asking_is_answered_by_the_first(scene):
    first = asked(scene)
    assert asked(scene) == first
    outbox.drain()
    assert asked(scene) != first


def test_the_job_may_run_twice(scene):
    row = asked(scene)
    services.make_archive(str(row.key))
    made = again(row)
    services.make_archive(str(row.key))
    assert (again(row).sha256, again(row).file.name) == (made.sha256, made.file.name)


@pytest.mark.parametrize("role", ["member"])
def test_a_member_of_the_owner_may_not(scene, role):
    with pytest.raises(Forbidden, match="supervisor or manager"):
        services.ask(
            actor=actor_of(scene.owner.organisation, role), site=scene.site, at=timezone.now()
        )


def test_authority_and_contractor_may_not_and_do_not_learn_of_it(scene):
    row = asked(scene)
    for other in (scene.authority, scene.contractor):
        with pytest.raises(Forbidden):
            services.ask(actor=other, site=scene.site, at=timezone.now())
        with pytest.raises(NotFound):
            services.archive(other, row.key)


def test_cancelled_before_it_began_nothing_is_made(scene):
    row = asked(scene)
    services.cancel(actor=scene.owner, row=row, at=timezone.now())
    outbox.drain()
    assert (again(row).state, again(row).file.name) == ("cancelled", "")
    with pytest.raises(Conflict):
        services.cancel(actor=scene.owner, row=row, at=timezone.now())


def test_cancelled_while_it_is_made_it_stops_and_leaves_no_file(scene, monkeypatch):
    row = asked(scene)
    begin = Progress.begin

    def cancelled_at_the_files(self, step, of=0):
        if step == "files":
            services.cancel(actor=scene.owner, row=again(row), at=timezone.now())
        begin(self, step, of)

    monkeypatch.setattr(Progress, "begin", cancelled_at_the_files)
    services.make_archive(str(row.key))
    assert (again(row).state, again(row).size) == ("cancelled", 0)
    assert not default_storage.exists("archives") or default_storage.listdir("archives")[1] == []


def test_cancelled_at_the_last_moment_its_file_is_let_go(scene, monkeypatch):
    row = asked(scene)
    save = default_storage.save

    def cancelled_meanwhile(name, made):
        services.cancel(actor=scene.owner, row=again(row), at=timezone.now())
        return save(name, made)

    monkeypatch.setattr(default_storage, "save", cancelled_meanwhile)
    services.make_archive(str(row.key))
    assert (again(row).state, again(row).file.name) == ("cancelled", "")
    assert default_storage.listdir("archives")[1] == []


def test_who_asked_and_belongs_no_more_gets_none(scene):
    row = asked(scene)
    membership = scene.owner.user.memberships.get()
    membership.ended_on = timezone.now().date() - timedelta(days=1)
    membership.save(by=scene.owner)
    outbox.drain()
    assert again(row).state == "failed"
    assert "no longer belongs" in again(row).problem


def test_given_up_the_page_says_what_to_do(scene, monkeypatch):
    row = asked(scene)

    def broken(*args, **more):
        raise OSError("no space left on the device")

    monkeypatch.setattr(services, "write", broken)
    for _ in range(services.TRIES):
        Job.objects.update(not_before=timezone.now())
        outbox.drain()
    assert again(row).state == "failed"
    assert "Ask for another" in again(row).problem
    assert asked(scene) != row


def test_expired_its_file_is_gone_and_it_says_so(scene, django_capture_on_commit_callbacks):
    row = asked(scene)
    outbox.drain()
    row = again(row)
    name = row.file.name
    services.let_go(row.expires_at - timedelta(seconds=1))
    assert again(row).state == "ready"
    with django_capture_on_commit_callbacks(execute=True):
        services.let_go(row.expires_at)
    services.let_go(row.expires_at)
    assert again(row).state == "expired"
    assert not default_storage.exists(name)
    with pytest.raises(Refused, match="it is expired"):
        services.fetched(actor=scene.owner, row=again(row))


def test_a_long_job_keeps_its_lease_and_one_that_lost_it_stops(scene):
    """Nobody begins a second time what is being made."""
    row = asked(scene)
    seen = []

    def slow(archive):
        held = Job.objects.get()
        with time_machine.travel(timezone.now() + timedelta(minutes=9), tick=False):
            outbox.prolong()
            assert Job.objects.get().leased_until > held.leased_until
        Job.objects.update(lease="0" * 32)
        with pytest.raises(LostLease):
            outbox.prolong()
        making = SiteArchive.objects.get(key=archive)
        SiteArchive._base_manager.filter(pk=making.pk).update(state="making")
        with pytest.raises(Stopped):
            Progress(making).begin("rows")
        seen.append(archive)

    from itm import worker

    outbox._function.cache_clear()
    original = worker.JOBS["make_archive"]
    worker.JOBS["make_archive"] = slow
    try:
        outbox.run_one()
    finally:
        worker.JOBS["make_archive"] = original
        outbox._function.cache_clear()
    assert seen == [str(row.key)]
