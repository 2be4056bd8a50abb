"""The code on a bottle's label leads to its row, with signal and without."""

import re
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser


def address(day: dict[str, Any], label: str) -> str:
    """As tests/doors/test_blank_sheets.py reads it off the printed labels."""
    return f"/field/#/b/{day['test']}/{quote(label, safe='')}"


def test_without_signal_a_label_opens_the_row_of_its_bottle(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    run, name = planned["runs"][0]
    crew.screen(planned, "discharge")
    crew.page.locator(f"#sample-{run}").click()
    expect(crew.page.get_by_text(f"{name} 1", exact=True)).to_be_visible()
    crew.page.goto("about:blank")
    crew.page.goto(address(planned, f"{name} 1"))
    at = f"d/{planned['visit']}/bench/{planned['test']}"
    expect(crew.page.locator(f'#field[data-screen="{at}"] h1')).to_be_visible()
    row = crew.page.locator(f"section.bottle[aria-label='{name} 1']")
    expect(row).to_be_in_viewport()
    expect(row.locator("input").first).to_be_focused()
    crew.page.goto("about:blank")
    crew.page.goto(address(planned, f"{name} 9"))
    expect(crew.said).to_contain_text(f"No bottle “{name} 9” stands on this bench yet")


def test_a_day_that_is_not_on_the_device_is_looked_up_where_there_is_signal(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.page.goto("/field/")
    crew.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    crew.offline()
    crew.page.goto("about:blank")
    crew.page.goto(address(planned, "water"))
    expect(crew.page.locator("#field")).to_contain_text("not on this device")
    crew.online()
    crew.page.locator("#again").click()
    expect(crew.page).to_have_url(re.compile(f"/tests/{planned['test']}/"))
    expect(crew.page.get_by_text("on this bench yet").first).to_be_visible()
