"""How much a token may ask in a minute, and what the headers tell of it."""

from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from redis.exceptions import ConnectionError as Away

from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db
NOON = "2026-11-12T12:00:10Z"


def test_token_that_asks_too_often_waits_until_the_minute_is_over(
    scene: Any, program: Any, settings: Any
) -> None:
    settings.API_REQUESTS_A_MINUTE = 3
    with time_machine.travel(NOON, tick=False) as clock:
        ours, other = program(scene.owner), program(scene.owner)
        told = [ours.ask("get", "/token/")["RateLimit"] for _ in range(3)]
        assert told == [f'"token";r={left};t=50' for left in (2, 1, 0)]
        got = ours.ask("get", "/token/")
        refused(got, 429, "too_many_requests")
        assert (got["Retry-After"], got["RateLimit"]) == ("50", '"token";r=0;t=50')
        assert got["RateLimit-Policy"] == '"token";q=3;w=60'
        assert other.ask("get", "/token/").status_code == 200
        clock.shift(50)
        assert ours.ask("get", "/token/")["RateLimit"] == '"token";r=2;t=60'


def test_refusals_count_and_tell_what_is_left(scene: Any, program: Any, settings: Any) -> None:
    settings.API_REQUESTS_A_MINUTE = 2
    ours = program(scene.owner)
    got = ours.ask("get", "/sites/?odd=1")
    refused(got, 400, "bad_query")
    assert got["RateLimit"].startswith('"token";r=1;')


@pytest.mark.parametrize("fault", [Away("away"), ValueError("thrown out")])
def test_cache_that_is_away_stops_nobody(
    scene: Any, program: Any, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    def away(*args: Any) -> int:
        raise fault

    monkeypatch.setattr(type(cache._connections[cache._alias]), "incr", away)
    assert program(scene.owner).ask("get", "/token/").status_code == 200


def test_stranger_is_counted_by_address_and_told_what_is_left(
    scene: Any, program: Any, client: Any, settings: Any
) -> None:
    settings.API_STRANGERS_A_MINUTE = 2
    with time_machine.travel(NOON, tick=False) as clock:
        for left in (1, 0):
            got = client.get("/api/v1/sites/")
            refused(got, 401, "not_signed_in")
            assert got["RateLimit"] == f'"address";r={left};t=50'
        got = client.get("/api/v1/sites/", headers={"Authorization": "Bearer itm.guessed"})
        refused(got, 429, "too_many_requests")
        assert (got["Retry-After"], got["RateLimit-Policy"]) == ("50", '"address";q=2;w=60')
        other = client.get("/api/v1/sites/", REMOTE_ADDR="192.0.2.7")
        refused(other, 401, "not_signed_in")
        # A program behind the same address has its own count.
        assert program(scene.owner).ask("get", "/token/").status_code == 200
        clock.shift(50)
        refused(client.get("/api/v1/sites/"), 401, "not_signed_in")


@pytest.mark.parametrize(("proxies", "status"), [(0, 429), (1, 401)])
def test_only_what_our_own_proxies_say_of_the_address_is_believed(
    client: Any, settings: Any, proxies: int, status: int
) -> None:
    """Without a proxy of ours everybody could write another address into the header."""
    settings.API_STRANGERS_A_MINUTE = 1
    settings.REST_FRAMEWORK = {**settings.REST_FRAMEWORK, "NUM_PROXIES": proxies}
    with time_machine.travel(NOON, tick=False):
        client.get("/api/v1/sites/", headers={"X-Forwarded-For": "203.0.113.1, 198.51.100.1"})
        got = client.get("/api/v1/sites/", headers={"X-Forwarded-For": "203.0.113.1, 198.51.100.2"})
        assert got.status_code == status
        again = {"X-Forwarded-For": "203.0.113.9, 198.51.100.2"}
        assert client.get("/api/v1/sites/", headers=again).status_code == 429
