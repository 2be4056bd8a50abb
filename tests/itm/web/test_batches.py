"""Asking for many reports, watching the file come, and taking it along."""

import io
import zipfile
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from itm.core import outbox
from itm.reports import batches
from itm.reports.models import Batch
from itm.web import batches as pages
from tests.deeds import tested
from tests.factories import actor_of


@pytest.fixture
def client_of(sign_in: Any) -> Any:
    return lambda actor: sign_in(Client(), actor)


@pytest.fixture
def asked(scene: Any, client_of: Any) -> Batch:
    for day in (15, 16):
        tested(scene, on=date(2026, 6, day))
    got = client_of(scene.owner).post(reverse("batch_new", args=["tests"]))
    row: Batch = Batch.objects.get()
    assert got["Location"] == reverse("batch", args=[row.key])
    return row


def test_the_list_leads_to_the_reports_of_what_it_shows(scene: Any, client_of: Any) -> None:
    tested(scene)
    tested(scene, on=date(2026, 6, 16), until="handed_in")
    client = client_of(scene.owner)
    query = f"?site={scene.site.key}&find=PR"
    page = client.get(reverse("records") + query).content.decode()
    there = reverse("batch_new", args=["tests"])
    assert f"{there}{query}".replace("&", "&amp;") in page
    new = client.get(there + query).content.decode()
    assert "1</strong> report" in new
    assert "those that are not sealed have no report" in new
    assert f"Proportioning tests: at {scene.site.name}; with “PR”" in new
    assert "at most 500 reports" in new
    client.post(there + query)
    row = Batch.objects.get()
    assert len(row.records) == 1
    assert row.words == f"Proportioning tests: at {scene.site.name}; with “PR”"


def test_the_page_shows_how_far_it_is_with_and_without_script(
    scene: Any, asked: Batch, client_of: Any
) -> None:
    client = client_of(scene.owner)
    address = reverse("batch", args=[asked.key])
    page = client.get(address).content.decode()
    assert "Waiting for its turn" in page
    assert f'hx-get="{address}"' in page
    assert '<noscript><meta http-equiv="refresh"' in page
    assert f'<a role="button" class="outline" href="{address}">Look again</a>' in page
    Batch._base_manager.filter(pk=asked.pk).update(state="making", at=1, step="Making the reports")
    page = client.get(address).content.decode()
    assert 'value="1"' in page
    assert "Cancel" in page


def test_the_finished_file_is_saved_by_whoever_asked_and_nobody_else(
    scene: Any, asked: Batch, client_of: Any
) -> None:
    early = client_of(scene.owner).get(reverse("batch_file", args=[asked.key]))
    assert early["Location"] == reverse("batch", args=[asked.key])
    outbox.drain()
    client = client_of(scene.owner)
    page = client.get(reverse("batch", args=[asked.key])).content.decode()
    assert "Save the file" in page
    got = client.get(reverse("batch_file", args=[asked.key]))
    body = b"".join(got.streaming_content)
    assert len(zipfile.ZipFile(io.BytesIO(body)).namelist()) == 3
    assert got["X-Content-Type-Options"] == "nosniff"
    assert got["Content-Disposition"].startswith("attachment")
    for actor in (actor_of(scene.owner.organisation), scene.contractor, scene.authority):
        for name in ("batch", "batch_file"):
            there = reverse(name, args=[asked.key])
            assert client_of(actor).get(there).status_code == 404, (actor.kind, name)
    assert "all" in client.get(reverse("batches")).content.decode()


def test_a_second_one_waits_for_the_first(scene: Any, asked: Batch, client_of: Any) -> None:
    got = client_of(scene.owner).post(reverse("batch_new", args=["tests"]))
    assert got.status_code == 422
    assert "being made still" in got.content.decode()
    assert Batch.objects.count() == 1


def test_a_cancelled_one_can_be_asked_for_again(scene: Any, asked: Batch, client_of: Any) -> None:
    client = client_of(scene.owner)
    client.post(reverse("batch_cancel", args=[asked.key]))
    page = client.get(reverse("batch", args=[asked.key])).content.decode()
    assert "cancelled" in page
    assert "Ask for the same again" in page
    got = client.post(reverse("batch_again", args=[asked.key]))
    row = Batch.objects.exclude(pk=asked.pk).get()
    assert got["Location"] == reverse("batch", args=[row.key])
    assert row.records == asked.records


def test_more_than_fit_are_refused_with_the_bound(
    scene: Any, client_of: Any, monkeypatch: Any
) -> None:
    tested(scene)
    tested(scene, on=date(2026, 6, 16))
    monkeypatch.setattr(batches, "MOST", 1)
    client = client_of(scene.owner)
    page = client.get(reverse("batch_new", args=["tests"]))
    assert "More than 1 sealed records fit" in page.content.decode()
    assert "Make the file" not in page.content.decode()
    assert client.post(reverse("batch_new", args=["tests"])).status_code == 422
    assert not Batch.objects.exists()


def test_nothing_sealed_says_so(scene: Any, client_of: Any) -> None:
    page = client_of(scene.owner).get(reverse("batch_new", args=["checks"])).content.decode()
    assert "only a sealed record has a report" in page
    assert pages.SOURCES.keys() == {"tests", "checks"}
    assert client_of(scene.owner).get("/batches/new/photos/").status_code == 404
