"""A concentrate check begun where the tank stands, with no signal, and a bottle sent away."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE

pytestmark = pytest.mark.browser


def begun(crew: Phone, tank: dict[str, Any]) -> None:
    """By keyboard; the limits chosen last time, or the first, are ticked."""
    page = crew.page
    page.locator(f"#begin-{tank['key']} > summary").click()
    part = page.locator(f"#begin-{tank['key']}")
    expect(part.get_by_text("Nobody enters a tank")).to_be_visible()
    part.get_by_label("EN 1568", exact=False).check()
    part.get_by_label("Notes").fill("drawn down in the spring")
    assert not page.evaluate(WIDE)
    assert page.evaluate(PRESSED, GLOVE) == []
    expect(crew.strip).to_contain_text("typed and not kept")  # it lies on the disk
    page.reload()
    expect(crew.strip).to_contain_text("typed and not kept")
    page.locator(f"#begin-{tank['key']} > summary").click()
    expect(part.get_by_label("Notes")).to_have_value("drawn down in the spring")
    expect(part.get_by_label("EN 1568", exact=False)).to_be_checked()
    page.locator(f"#begin-check-{tank['key']}").focus()
    page.keyboard.press("Enter")
    expect(crew.said).to_contain_text(f"Check of {tank['tag']} begun: kept on this device")


def test_a_check_begun_without_signal_reaches_the_server_with_its_bottle_under_way(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    day = crew.day_on_server(planned)
    tank, known = day["checking"]["tanks"][0], {check["key"] for check in day["checks"]}
    crew.offline()
    page = crew.page
    begun(crew, tank)
    [key] = [row["key"] for row in crew.kept() if row["verb"] == "begin_check"]
    page.locator(f"a[href$='/check/{key}']").click()
    page.get_by_label("Point of the tank").select_option("top")
    page.get_by_label("Label").fill(f"N {key[:6]}")
    crew.press("Note the bottle")
    bottle = page.locator(f"section.bottle[aria-label='N {key[:6]}']")
    bottle.locator("summary", has_text="Its way to the laboratory").click()
    bottle.get_by_label("Laboratory").fill("A laboratory")
    bottle.get_by_label("Sent on").fill(day["visit"]["planned_on"])
    bottle.get_by_label("Number of the dispatch").fill("D-7")
    bottle.get_by_role("button", name="Keep", exact=True).click()
    expect(bottle.locator(".notice")).to_contain_text("under way to A laboratory since")
    page.locator("summary", has_text="What is known of the check").click()
    page.get_by_label("The tank was circulated").select_option("True")
    part = page.locator(f"#check-{key}")
    part.get_by_role("button", name="Keep", exact=True).click()
    expect(crew.said).to_contain_text("Facts of the check")
    expect(page.get_by_text("sending it away is no result")).to_be_visible()
    assert not page.evaluate(WIDE)
    assert {row["state"] for row in crew.kept()} == {"waiting"}
    crew.online()
    crew.waits_for_nothing()
    [check] = [one for one in crew.day_on_server(planned)["checks"] if one["key"] not in known]
    assert (check["key"], check["tank"], check["circulated"]) == (key, tank["tag"], True)
    assert check["notes"] == "drawn down in the spring"
    assert check["programmes"]
    assert any(check["held_against"].values())  # frozen by the server
    [sample] = check["samples"]
    assert (sample["laboratory"], sample["consignment"]) == ("A laboratory", "D-7")
    assert sample["under_way"].startswith("under way to A laboratory since")
