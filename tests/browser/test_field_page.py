"""The face of field capture: 360 px, gloves, keyboard, and nothing that sticks out."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser

GLOVE = 56  # px, the least height of what is pressed
PRESSED = """(least) => [...document.querySelectorAll(
  "#field button, #field a, #field summary, #field select, #field input:not(.visually-hidden)," +
  " #field label.pick"
)].filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < least - 0.5)
  .map((one) => one.outerHTML.slice(0, 120))"""
WIDE = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
SCREENS = ("", "/restore", "/inspect", "discharge", "stop", "bench", "result")


def test_every_screen_fits_360_px_and_takes_gloves(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    crew.screen(planned, "discharge")
    run = planned["runs"][0][0]
    crew.page.locator(f"#foam-{run}").click()
    crew.page.locator(f"#sample-{run}").click()
    crew.screen(planned, "bench")
    crew.page.locator("#set-out").click()
    expect(crew.page.get_by_label("S1, concentrate poured, mL")).to_be_visible()
    for name in (*SCREENS, f"/check/{planned['check']}", "days", "waiting"):
        if name in ("days", "waiting"):
            crew.page.goto(f"/field/#/{name}")
        elif not name or name.startswith("/"):
            crew.open(planned, name)
        else:
            crew.screen(planned, name)
        expect(crew.strip).to_contain_text("only on this device")
        crew.open_all()
        assert not crew.page.evaluate(WIDE), name
        assert crew.page.evaluate(PRESSED, GLOVE) == [], name


def test_a_reading_is_kept_by_keyboard_alone(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.screen(planned, "bench")
    crew.page.locator("#set-out").focus()
    crew.page.keyboard.press("Enter")
    value = crew.page.get_by_label("water, new reading")
    value.focus()
    crew.page.keyboard.type("1.33304")
    crew.page.keyboard.press("Tab")
    crew.page.keyboard.type("20.1")
    crew.page.keyboard.press("Enter")
    expect(crew.said).to_contain_text("1.33304, water: kept on this device")
    expect(crew.page.get_by_label("S1, new reading")).to_be_focused()


def test_a_press_by_keyboard_leaves_the_keyboard_where_it_was(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """The button is gone once it is pressed; the next one is a step of the Tab key away."""
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    crew.screen(planned, "discharge")
    run = planned["runs"][-1][0]
    crew.page.locator(f"#foam-{run}").focus()
    crew.page.keyboard.press("Enter")
    # Its button stood there before: that of the foam is gone once the screen is drawn anew.
    expect(crew.page.locator(f"#foam-{run}")).to_have_count(0)
    card = "document.activeElement.closest('section.run')"
    assert crew.page.evaluate(f"{card}?.querySelector('#sample-{run}') !== null && !!{card}")
    crew.page.keyboard.press("Tab")
    expect(crew.page.locator(f"#sample-{run}")).to_be_focused()
    crew.page.keyboard.press("Enter")
    expect(crew.said).to_contain_text("Sample")
    expect(crew.page.locator(f"#sample-{run}")).to_be_focused()
