"""A flow point that was left out at Prepare, run after all on a phone without signal."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE

pytestmark = pytest.mark.browser


def test_a_flow_point_added_without_signal_is_worked_at_once(
    planned_short: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    day, crew = planned_short, phone()
    crew.take_along(day)
    [test] = crew.day_on_server(day)["tests"]
    [run] = [one["run"] for one in test["points_left"] if one["flow_point"] == day["left"]]
    crew.offline()
    crew.start(day)
    crew.screen(day, "discharge")
    page = crew.page
    page.locator("#left-out > summary").click()
    assert not page.evaluate(WIDE)
    assert page.evaluate(PRESSED, GLOVE) == []
    page.locator(f"#run-{day['left']}").focus()
    page.keyboard.press("Enter")
    card = page.locator(f"section.run[aria-labelledby='head-{run}']")
    expect(card).to_contain_text("only on this device")
    expect(page.locator(f"#run-{day['left']}")).to_have_count(0)
    page.reload()
    crew.note_run(run, solution_flow="2000")
    expect(crew.said).to_contain_text("kept on this device")
    page.locator(f"#foam-{run}").click()
    page.locator(f"#sample-{run}").click()
    expect(card.locator("ul.samples > li")).to_have_count(1)
    crew.online()
    crew.waits_for_nothing()
    [test] = crew.day_on_server(day)["tests"]
    [made] = [one for one in test["runs"] if one["key"] == run]
    assert (made["name"], made["solution_flow"]) == (day["left_name"], "2000 L/min")
    assert made["foam_seen_at"]
    assert run not in [one["run"] for one in test["points_left"]]
