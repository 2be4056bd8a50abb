"""The demo's world, shortened, loaded once for all tests of this folder."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction
from django.test import override_settings

from itm.demo.load import load
from itm.demo.scenario import scenario

NOW = datetime(2026, 11, 25, 14, 0, tzinfo=UTC)
YEARS_KEPT = 2  # of devices without a story; loading them all takes most of a minute


def shortened() -> dict[str, Any]:
    told = scenario()
    for owner in told["owners"]:
        for site in owner["sites"]:
            for system in site["systems"]:
                for device in system["proportioners"]:
                    oldest = max((event["test"] for event in device.get("events", [])), default=1)
                    kept = 9 if device.get("more_standards") else max(YEARS_KEPT, oldest + 1)
                    device["percents"] = device["percents"][-kept:]
    return told


@pytest.fixture(scope="module")
def loaded(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[datetime]:
    """As TestCase does: one transaction around all tests, which deeds may take for outermost."""
    files = override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("files"))
    with django_db_blocker.unblock(), files:
        outer = transaction.atomic()
        outer._from_testcase = True
        outer.__enter__()
        try:
            load(NOW, shortened())
            yield NOW
        finally:
            transaction.set_rollback(True)
            outer.__exit__(None, None, None)
