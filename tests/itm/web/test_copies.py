"""Copies of reports on pages: chosen by who asks, also under a link, and so many in a minute."""

from datetime import date
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.registry import links
from itm.reports.models import Batch
from tests.deeds import tested
from tests.itm.api.conftest import program, refused  # noqa: F401
from tests.itm.reports.archival import read, text

NOON = "2026-11-12T12:00:10Z"


@pytest.fixture
def sealed(scene: Any) -> Any:
    return tested(scene, on=date(2026, 6, 15))


@pytest.fixture
def secret(scene: Any) -> str:
    now = timezone.now()
    made: str = links.make(
        actor=scene.owner, name="an insurer", sites=[scene.site], ends_on=date(2027, 1, 1), at=now
    )[1]
    return made


def test_who_asks_for_many_chooses_paper_and_units(scene: Any, sealed: Any, sign_in: Any) -> None:
    client = sign_in(Client(), scene.owner)
    address = reverse("batch_new", args=["tests"])
    page = client.get(address).content.decode()
    for words in ("A4", "Letter", "As typed", "US customary"):
        assert words in page
    got = client.post(address, {"paper": "letter", "units": "us"}, follow=True)
    row = Batch.objects.get()
    assert (row.paper, row.units) == ("letter", "us")
    assert "Letter" in got.content.decode()
    assert "US customary" in got.content.decode()


def test_a_slip_in_the_choice_is_named_and_the_other_stays(
    scene: Any, sealed: Any, sign_in: Any
) -> None:
    client = sign_in(Client(), scene.owner)
    got = client.post(reverse("batch_new", args=["tests"]), {"paper": "a0", "units": "us"})
    assert got.status_code == 422
    assert "a0 is not one of the available choices" in got.content.decode()
    assert 'value="us" selected' in got.content.decode()
    assert not Batch.objects.exists()


def test_who_reads_under_a_link_chooses_units(sealed: Any, secret: str) -> None:
    reader = Client()
    here = reverse("shared_test", args=[secret, sealed.key])
    typed = reader.get(here).content.decode()
    assert "(typed" not in typed
    assert f"{here}?units=us" in typed
    page = reader.get(here, {"units": "us"}).content.decode()
    assert "US gpm (typed" in page
    assert "Quantities stand in US customary" in page
    copy = reverse("shared_test_copy", args=[secret, sealed.key, "letter"])
    assert f"{copy}?units=us" in page
    assert reverse("shared_test_copy", args=[secret, sealed.key, "a4"]) in page
    got = reader.get(copy, {"units": "us"})
    assert "letter-us.pdf" in got["Content-Disposition"]
    assert "US gpm (typed" in text(got.content)
    assert "A copy on Letter" in text(got.content)
    assert read(got.content).attachments["record.json"][0] == bytes(sealed.seal.document)
    odd = reader.get(copy, {"units": "nautical"})
    assert "US gpm" not in text(odd.content)  # as typed, and its name says so
    assert "letter.pdf" in odd["Content-Disposition"]


def test_copies_are_counted_by_person_over_pages_and_programs(
    scene: Any,
    sealed: Any,
    sign_in: Any,
    program: Any,  # noqa: F811
    settings: Any,
) -> None:
    settings.COPIES_A_MINUTE = 2
    address = reverse("report_copy", args=[sealed.key, "letter"])
    with time_machine.travel(NOON, tick=False) as clock:
        client, ours = sign_in(Client(), scene.owner), program(scene.owner)
        assert client.get(address).status_code == 200
        assert ours.ask("get", f"/tests/{sealed.key}/report/?size=letter").status_code == 200
        got = client.get(address)
        assert (got.status_code, got["Retry-After"]) == (429, "50")
        assert "more than 2 copies of reports in a minute" in got.content.decode()
        said = ours.ask("get", f"/tests/{sealed.key}/report/?size=letter")
        refused(said, 429, "too_many_copies")
        assert said["Retry-After"] == "50"
        assert client.get(reverse("report", args=[sealed.key])).status_code == 200
        assert sign_in(Client(), scene.authority).get(address).status_code == 200
        clock.shift(50)
        assert client.get(address).status_code == 200


def test_copies_under_a_link_are_counted_by_link(
    scene: Any, sealed: Any, secret: str, settings: Any
) -> None:
    settings.COPIES_A_MINUTE = 1
    address = reverse("shared_test_copy", args=[secret, sealed.key, "letter"])
    now = timezone.now()
    other = links.make(
        actor=scene.owner, name="a bank", sites=[scene.site], ends_on=date(2027, 1, 1), at=now
    )[1]
    with time_machine.travel(NOON, tick=False):
        assert Client().get(address).status_code == 200
        assert Client().get(address).status_code == 429
        there = reverse("shared_test_copy", args=[other, sealed.key, "letter"])
        assert Client().get(there).status_code == 200
