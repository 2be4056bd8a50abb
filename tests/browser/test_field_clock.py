"""A phone whose clock is years off: nothing it stamped goes in before a person said when it was."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser
AHEAD = """
const Real = Date, off = 700 * 864e5;
globalThis.Date = class extends Real {
  constructor(...given) { if (given.length) super(...given); else super(Real.now() + off); }
  static now() { return Real.now() + off; }
};
"""


def test_a_day_of_a_wrong_clock_goes_in_with_the_moments_of_the_server(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.page.add_init_script(AHEAD)
    crew.page.reload()
    crew.offline()
    crew.start(planned)
    run = planned["runs"][0][0]
    crew.note_run(run, solution_flow="1010")
    crew.online()
    expect(crew.strip).to_contain_text("needs you", timeout=30_000)
    assert crew.day_on_server(planned)["visit"]["started_at"] in ("", None)
    crew.page.goto("/field/#/waiting")
    expect(crew.page.locator("li.stuck").first).to_contain_text("by the clock of the server")
    crew.page.get_by_role("button", name="of this day by as much").first.click()
    crew.waits_for_nothing()
    day = crew.day_on_server(planned)
    began = crew.page.evaluate(
        "at => (Date.now() - 700 * 864e5 - new Date(at)) / 60000", day["visit"]["started_at"]
    )
    assert 0 <= began < 10
    assert day["tests"][0]["runs"][0]["solution_flow"] == "1010 L/min"
