"""Checks that ask about an installation, and not about the code."""

import pytest
from django.core.checks import run_checks

LOCAL = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
SHARED = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": "redis://127.0.0.1:6379/1",
    }
}


@pytest.mark.parametrize(
    ("nudge", "processes", "caches", "warned"),
    [
        ("thread", 1, LOCAL, False),  # the embedded set-up is one process
        ("thread", 4, LOCAL, True),
        ("celery", 1, LOCAL, True),
        ("celery", 4, SHARED, False),
    ],
)
def test_a_cache_for_each_of_several_processes_is_warned_of(
    settings, nudge, processes, caches, warned
):
    settings.OUTBOX_NUDGE, settings.WEB_PROCESSES, settings.CACHES = nudge, processes, caches
    found = [one for one in run_checks(include_deployment_checks=True) if one.id == "itm.W001"]
    assert bool(found) == warned
    assert not [one for one in run_checks() if one.id == "itm.W001"]
