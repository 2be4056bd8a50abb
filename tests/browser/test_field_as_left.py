"""What is asked before a hand-in is asked on the device already, and written there."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser
PARTS = "metering orifice changed for one of 8.2 mm"


def test_the_parts_that_were_adjusted_are_asked_and_written_without_signal(
    planned_as_left: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew, key = phone(), planned_as_left["test"]
    crew.take_along(planned_as_left)
    crew.offline()
    crew.screen(planned_as_left, "result")
    asks = crew.page.get_by_text("An as-left result names the parts that were adjusted")
    expect(asks).to_be_visible()
    crew.page.locator(f"#test-{key}-adjusted").fill(PARTS)
    crew.page.locator("#keep-test").click()
    expect(crew.said).to_contain_text("kept on this device")
    expect(asks).to_have_count(0)
    crew.online()
    crew.waits_for_nothing()
    [test] = crew.day_on_server(planned_as_left)["tests"]
    assert test["adjusted"] == PARTS
