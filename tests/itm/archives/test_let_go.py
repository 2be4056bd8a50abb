"""Files that were let go by decision: an archive has their lines, and calls none of them lost."""

import json
from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from itm.accounts.models import Membership
from itm.records.chain import verify
from itm.registry.models import Attachment, Site
from itm.retention import letting
from itm.retention.letting import WAITS, carry_out, due
from itm.retention.models import DecidedFile, Decision, KeepingPeriod, PaperKind
from itm.retention.verifying import verify_files
from tests.archiving import archived, brought, contents, emptied, rows
from tests.factories import actor_of
from tests.keeping import NOW, OVER, adopted, decided, on_disk, paper

pytestmark = pytest.mark.django_db
LATER = OVER + timedelta(days=1)


@pytest.fixture
def gone(scene):
    """One that went; and one of which it is decided, and which waits."""
    adopted(scene, "eu-pfas-plan")
    went = paper(scene, kind="plan")
    waiting = paper(scene, name="other.pdf", kind="plan")
    decided(scene, "plan", went)
    carry_out(OVER)
    decided(scene, "plan", waiting, at=LATER)
    went.refresh_from_db()
    return went


def test_its_line_is_there_with_its_digest_and_it_is_not_called_lost(scene, gone, tmp_path):
    path = archived(scene.owner, scene.site, tmp_path / "a.zip", at=LATER)
    held = {row["name"]: row for row in rows(path, "attachments")}
    assert held["plan.pdf"]["let_go"] == gone.let_go
    assert held["plan.pdf"]["file"]["place"] is None
    assert held["other.pdf"]["file"]["place"] is not None
    assert json.loads(contents(path)["manifest.json"])["lacks"] == []
    [line] = [row for row in rows(path, "decided-files") if row["gone_at"]]
    assert line["sha256"] == gone.sha256
    [decision] = [row for row in rows(path, "keeping-decisions") if row["done_at"]]
    assert decision["key"] == line["decision"]
    assert (decision["decided_by"], decision["reason"]) == (
        scene.owner.person, "the plan was followed by another",
    )  # fmt: skip
    assert gone.let_go in contents(path)["tables/files.csv"].decode()


def test_brought_in_it_is_told_as_let_go_and_its_door_says_by_whom(
    scene, gone, tmp_path, sign_in, settings
):
    path = archived(scene.owner, scene.site, tmp_path / "a.zip", at=LATER)
    emptied()
    settings.MEDIA_ROOT = tmp_path / "elsewhere"
    brought(path, at=LATER)
    assert list(verify()) == []
    assert [one.kind for one in verify_files()] == ["let_go"]
    page = sign_in(Client(), actor_of(Site.objects.get().owner))
    row = Attachment.objects.get(name="plan.pdf")
    answer = page.get(reverse("attachment_file", args=[row.key]))
    assert answer.status_code == 410
    assert gone.let_go.replace("’", "&#x27;") in answer.content.decode()
    assert (KeepingPeriod.objects.count(), PaperKind.objects.count()) == (1, 2)


def test_what_was_decided_elsewhere_is_not_carried_out_where_the_archive_came_in(
    scene, gone, tmp_path, sign_in, settings
):
    """An archive is the copy that somebody takes before letting go."""
    path = archived(scene.owner, scene.site, tmp_path / "a.zip", at=LATER)
    assert due(LATER + WAITS).count() == 1  # here it would go
    emptied()
    settings.MEDIA_ROOT = tmp_path / "elsewhere"
    brought(path, at=LATER + timedelta(hours=1))
    carry_out(LATER + WAITS)
    row = Attachment.objects.get(name="other.pdf")
    assert on_disk(row)
    assert row.let_go == ""
    assert DecidedFile.objects.get(attachment=row).gone_at is None
    waiting = Decision.objects.get(done_at=None)
    member = actor_of(Site.objects.get().owner, Membership.Role.MANAGER)
    with time_machine.travel(LATER + WAITS + timedelta(days=2), tick=False):
        client = sign_in(Client(), member)
        page = client.get(reverse("keeping_decision", args=[waiting.key]))
        listed = client.get(reverse("keeping", args=[waiting.site.key]))
    assert "It was decided before this site came here in an archive." in page.content.decode()
    assert "decided before the site came here in an archive" in listed.content.decode()
    told = letting.all_decisions(member)
    assert [one.stands for one in told.order_by("decided_at")] == ["done", "not_here"]


def test_decided_anew_where_it_came_in_it_goes(scene, gone, tmp_path, settings):
    path = archived(scene.owner, scene.site, tmp_path / "a.zip", at=LATER)
    emptied()
    settings.MEDIA_ROOT = tmp_path / "elsewhere"
    brought(path, at=LATER + timedelta(hours=1))
    site = Site.objects.get()
    here = type(scene)(**{**vars(scene), "site": site, "owner": actor_of(site.owner)})
    row = Attachment.objects.get(name="other.pdf")
    then = LATER + timedelta(days=40)
    decided(here, "plan", row, at=then)
    carry_out(then + WAITS)
    assert not on_disk(row)


def test_now_is_what_the_deeds_say():
    assert OVER == NOW + WAITS
