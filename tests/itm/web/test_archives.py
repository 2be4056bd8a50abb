"""The pages of archives: asked for, watched, cancelled, fetched."""

import hashlib
import io
import zipfile
from datetime import timedelta

import pytest
from django.utils import timezone

from itm.archives import services
from itm.archives.models import SiteArchive
from itm.core import outbox
from tests.deeds import tested
from tests.factories import actor_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(client, scene, sign_in):
    return sign_in(client, scene.owner)


def made(client, scene):
    answer = client.post(f"/sites/{scene.site.key}/archives/new/", follow=True)
    return SiteArchive.objects.latest("pk"), answer.content.decode()


def test_the_page_of_a_site_leads_there_for_who_may(owner, client, scene, sign_in):
    there = f"/sites/{scene.site.key}/archives/"
    assert there in owner.get(f"/sites/{scene.site.key}/").content.decode()
    page = owner.get(there).content.decode()
    assert "No archive of this site was made yet." in page
    member = actor_of(scene.owner.organisation, "member")
    page = sign_in(client, member).get(f"/sites/{scene.site.key}/").content.decode()
    assert there not in page


def test_asked_for_it_is_watched_until_it_is_ready_and_fetched(owner, scene):
    tested(scene)
    row, page = made(owner, scene)
    assert "Waiting for its turn." in page
    assert 'hx-trigger="every 2s"' in page
    outbox.drain()
    page = owner.get(f"/archives/{row.key}/").content.decode()
    row.refresh_from_db()
    for told in (row.sha256, row.newest_seal, "Save the archive", "Kept until"):
        assert told in page
    assert "every 2s" not in page
    answer = owner.get(f"/archives/{row.key}/file/")
    data = b"".join(answer.streaming_content)
    assert hashlib.sha256(data).hexdigest() == row.sha256
    assert int(answer["Content-Length"]) == len(data) == row.size
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["Content-Disposition"].startswith("attachment")
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        assert "manifest.json" in file.namelist()


def test_how_far_it_is_stands_on_the_page(owner, scene):
    row, _ = made(owner, scene)
    SiteArchive._base_manager.filter(pk=row.pk).update(
        state="making", step="files", done=30, of=120
    )
    page = owner.get(f"/archives/{row.key}/").content.decode()
    assert "Putting in photos, papers and reports." in page
    assert '<progress max="120" value="30"' in page


def test_cancelled_it_says_so_and_another_can_be_asked_for(owner, scene):
    row, _ = made(owner, scene)
    page = owner.post(f"/archives/{row.key}/cancel/", follow=True).content.decode()
    assert "Cancelled: no archive is made." in page
    assert "Make another archive" in page
    again, _ = made(owner, scene)
    assert again.pk != row.pk


def test_an_expired_one_says_so_and_gives_nothing(owner, scene):
    row, _ = made(owner, scene)
    outbox.drain()
    services.let_go(timezone.now() + timedelta(days=8))
    page = owner.get(f"/archives/{row.key}/").content.decode()
    assert "and is gone. The site has lost nothing by that." in page
    answer = owner.get(f"/archives/{row.key}/file/")
    assert answer.status_code == 422
    assert "it is expired" in answer.content.decode()


def test_what_it_lacks_is_said_first(owner, scene):
    row, _ = made(owner, scene)
    outbox.drain()
    SiteArchive._base_manager.filter(pk=row.pk).update(lacks=["attachments/x.jpg: gone"])
    page = owner.get(f"/archives/{row.key}/").content.decode()
    assert "Not as it should be: 1 file" in page
    assert "attachments/x.jpg: gone" in page


def test_the_list_costs_as_much_for_many_as_for_few(owner, scene, django_assert_max_num_queries):
    for _ in range(12):
        made(owner, scene)
        outbox.drain()
    with django_assert_max_num_queries(16):
        owner.get(f"/sites/{scene.site.key}/archives/")
