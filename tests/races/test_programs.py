"""Programs at once, on PostgreSQL: a key works once, and of several changes one goes through."""

from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.db import connection

from itm.core.history import Change
from itm.records.models import ProportioningTest, Visit
from tests.doors.documents import day_document
from tests.itm.api.conftest import program as program  # the fixture
from tests.races.test_races import at_once

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _real_database(transactional_db: None) -> None:
    assert connection.vendor == "postgresql"


@pytest.mark.parametrize("shared", [True, False], ids=["one cache", "no cache"])
def test_ten_hand_ins_under_one_key_are_one_day(
    scene: Any, program: Any, monkeypatch: pytest.MonkeyPatch, shared: bool
) -> None:
    """With a cache that all share the others are told that it is at work; without one they wait for
    the answer of the first."""
    if not shared:
        monkeypatch.setattr(type(cache._connections[cache._alias]), "add", lambda *a, **k: True)
    ours, key, document = program(scene.contractor), str(uuid4()), day_document(scene)
    answers = at_once(*[lambda: ours.ask("post", "/tests/", document, Idempotency_Key=key)] * 10)
    taken = [got for got in answers if got.status_code == 201]
    assert len({got.content for got in taken}) == 1
    assert [got.get("Idempotency-Repeated") for got in taken].count(None) == 1
    others = [got.json()["code"] for got in answers if got.status_code != 201]
    assert set(others) <= ({"in_flight"} if shared else set())
    assert Visit.objects.count() == ProportioningTest.objects.count() == 1
    again = ours.ask("post", "/tests/", document, Idempotency_Key=key)
    assert (again.status_code, again.content) == (201, taken[0].content)


def test_of_two_changes_over_one_look_one_goes_through(scene: Any, program: Any) -> None:
    ours, path = program(scene.owner), f"/sites/{scene.site.key}/"
    tag = ours.ask("get", path)["ETag"]
    before = Change.objects.filter(object_key=scene.site.key).count()
    answers = at_once(
        *[
            lambda country=country: ours.ask("patch", path, {"country": country}, If_Match=tag)
            for country in ("Portugal", "Chile", "Norway", "Kenya")
        ]
    )
    assert sorted(got.status_code for got in answers) == [200, 412, 412, 412]
    [through] = [got.json()["country"] for got in answers if got.status_code == 200]
    assert ours.read(path)["country"] == through
    assert Change.objects.filter(object_key=scene.site.key).count() == before + 1
