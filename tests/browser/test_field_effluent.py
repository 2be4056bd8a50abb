"""Effluent on a phone without signal: noted, what is missing said, withdrawn, and on the server."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser


def lines(crew: Phone) -> Locator:
    return crew.page.locator("ul.effluent > li")


def test_effluent_noted_without_signal_reaches_the_server(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    page = crew.page
    expect(page.get_by_text("It is noted once the test day has begun.")).to_be_visible()
    crew.start(planned)
    expect(page.get_by_text("never into a sewer or a drain")).to_be_visible()
    discharged(crew)
    collected(crew)
    page.reload()
    expect(lines(crew)).to_have_count(2)
    expect(lines(crew).first).to_contain_text("Discharged 3200 L")
    lines(crew).last.get_by_text("Noted wrongly").click()
    page.get_by_role("button", name="Withdraw it").last.click()
    expect(page.locator(".error")).to_have_text("Say what was wrong with it.")
    lines(crew).last.get_by_label("What was wrong").fill("the meter was read twice")
    lines(crew).last.get_by_role("button", name="Withdraw it").click()
    expect(lines(crew)).to_have_count(1)
    crew.online()
    crew.waits_for_nothing()
    [line] = crew.day_on_server(planned)["effluent"]
    assert (line["kind"], line["volume"]) == ("discharged", "3200 L")
    page.goto(f"/visits/{planned['visit']}/")
    withdrawn = page.get_by_text("the meter was read twice")
    expect(withdrawn.first).to_be_visible()


def discharged(crew: Phone) -> None:
    page = crew.page
    page.get_by_text("Note what was discharged", exact=True).click()
    page.locator("#note-discharged").click()
    expect(page.locator("#effluent-discharged-volume-error")).to_contain_text("this is needed")
    page.locator("#effluent-discharged-volume").fill("3200")
    page.locator("#effluent-discharged-volume-unit").select_option("L")
    page.locator("#note-discharged").click()
    expect(crew.said).to_contain_text("kept on this device")
    expect(lines(crew)).to_contain_text(["only on this device"])


def collected(crew: Phone) -> None:
    page = crew.page
    page.get_by_text("Note what was collected", exact=True).click()
    page.locator("#effluent-collected-volume").fill("31")
    page.locator("#effluent-collected-place").fill("Bund of the tank area")
    page.locator("#note-collected").click()
    expect(lines(crew)).to_have_count(2)
