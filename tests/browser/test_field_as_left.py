"""What was adjusted is put right on the spot, where it is known, without signal."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser
PARTS = "metering orifice changed for one of 8.2 mm"


def test_the_parts_that_were_adjusted_are_written_without_signal(
    planned_as_left: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew, key = phone(), planned_as_left["test"]
    crew.take_along(planned_as_left)
    crew.offline()
    crew.screen(planned_as_left, "result")
    crew.page.locator("#note-test summary").click()
    parts = crew.page.locator(f"#test-{key}-adjusted")
    expect(parts).to_have_value("the metering orifice")
    parts.fill(PARTS)
    crew.page.locator("#keep-test").click()
    expect(crew.said).to_contain_text("kept on this device")
    expect(crew.strip).to_contain_text("1 entry only on this device")
    crew.online()
    crew.waits_for_nothing()
    tests = {one["key"]: one for one in crew.day_on_server(planned_as_left)["tests"]}
    assert tests[key]["adjusted"] == PARTS
