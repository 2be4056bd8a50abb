"""A concentrate check on a phone without signal: bottles, values beside their limits, hand-in."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Locator, expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser


def test_a_check_made_without_signal_reaches_the_server(
    planned: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.page.locator(f"a[href$='/check/{planned['check']}']").click()
    expect(crew.page.get_by_text("Caution:")).to_be_visible()
    expect(crew.page.get_by_text("No bottle is noted.")).to_be_visible()
    label = first_bottle(crew)
    measure(crew, label)
    another(crew, label)
    photograph(crew, label, tmp_path)
    fits(crew)
    crew.page.locator("#hand-in-check").click()
    expect(crew.page.get_by_text("Handed in on this device")).to_be_visible()
    assert {row["state"] for row in crew.kept()} == {"waiting"}
    crew.online()
    crew.waits_for_nothing()
    handed_in(crew.day_on_server(planned), planned, label)


def bottle_of(crew: Phone, label: str) -> Locator:
    return crew.page.locator(f"section.bottle[aria-label='{label}']")


def first_bottle(crew: Phone) -> str:
    page = crew.page
    page.get_by_label("Point of the tank").select_option("top")
    proposed = page.get_by_label("Label").input_value()
    assert proposed.endswith(" top")
    page.get_by_label("Look and smell").fill("clear")
    crew.press("Note the bottle")
    expect(bottle_of(crew, proposed)).to_contain_text("only on this device")
    page.get_by_label("Label").fill(proposed)  # what stands on another bottle already
    page.get_by_role("button", name="Note the bottle").click()
    expect(page.locator(".error")).to_contain_text("is a bottle already")
    page.get_by_label("Point of the tank").select_option("bottom")
    page.get_by_label("Label").fill("B 17")
    crew.press("Note the bottle")
    return proposed


def measure(crew: Phone, label: str) -> None:
    """What is wrong is said beside its entry; what was typed stays, also through a restart."""
    card = bottle_of(crew, label)
    card.get_by_text("Enter what was measured").click()
    expect(card.get_by_text("EN 1568").first).to_be_visible()  # as the server froze it
    card.get_by_label("pH", exact=False).first.fill("76")
    card.get_by_label("Refractive index nD", exact=False).first.fill("1.3702")
    card.get_by_role("button", name="Keep what was measured").click()
    expect(card.get_by_text("76 is no pH of a concentrate: it is 0 to 14.")).to_be_visible()
    expect(card.get_by_text("Without its temperature the refractive index")).to_be_visible()
    crew.page.wait_for_timeout(500)
    crew.page.reload()
    card.get_by_text("Enter what was measured").click()
    expect(card.get_by_label("pH", exact=False).first).to_have_value("76")
    card.get_by_label("pH", exact=False).first.fill("7.6")
    card.get_by_label("Temperature of the refractive index nD").fill("20.0")
    card.get_by_role("button", name="Keep what was measured").click()
    expect(crew.said).to_contain_text("2 values of")
    expect(card.get_by_text("Refractive index nD: 1.3702 at 20.0 °C")).to_be_visible()


def another(crew: Phone, label: str) -> None:
    """A value set aside with its reason and another in its place; a bottle withdrawn."""
    card = bottle_of(crew, label)
    card.locator("summary", has_text="Set aside: pH 7.6").click()
    card.locator("details[open]", has_text="Set aside: pH 7.6").get_by_label("Why").fill(
        "probe not rinsed"
    )
    card.get_by_role("button", name="Set aside: pH 7.6").click()
    expect(card.get_by_text("set aside: probe not rinsed")).to_be_visible()
    card.get_by_label("pH", exact=False).first.fill("7.5")
    card.get_by_role("button", name="Keep what was measured").click()
    expect(crew.said).to_contain_text("1 value of")
    expect(crew.page.get_by_text("Nothing is entered of B 17.")).to_be_visible()
    other = bottle_of(crew, "B 17")
    other.locator("summary", has_text="Withdraw B 17").click()
    other.get_by_label("Why").fill("broken on the way")
    other.get_by_role("button", name="Withdraw B 17").click()
    expect(crew.page.get_by_text("withdrawn: broken on the way")).to_be_visible()


def photograph(crew: Phone, label: str, tmp_path: Path) -> None:
    picture = tmp_path / "bottle.png"
    Image.new("RGB", (12, 12), "white").save(picture)
    bottle_of(crew, label).locator("input[type=file]").set_input_files(picture)
    expect(crew.said).to_contain_text("the photo is kept on this device")


def fits(crew: Phone) -> None:
    """Nothing is wider than the phone."""
    wide = crew.page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0


def handed_in(server: dict[str, Any], planned: dict[str, Any], label: str) -> None:
    [check] = [one for one in server["checks"] if one["key"] == planned["check"]]
    assert check["state"] == "handed_in"
    told = {one["label"]: one for one in check["samples"]}
    assert told["B 17"]["withdrawn_reason"] == "broken on the way"
    values = [
        (one["property"], one["value"], one["set_aside_reason"]) for one in told[label]["values"]
    ]
    assert sorted(values) == [
        ("ph", "7.5", ""),
        ("ph", "7.6", "probe not rinsed"),
        ("refractive_index", "1.3702", ""),
    ]
    assert [photo["of"] for photo in server["photos"]] == [{"sample": told[label]["key"]}]


def test_two_checks_of_one_tank_on_one_day_never_propose_one_label(
    planned: dict[str, Any], planned_too: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """Nor does the copy of another day, which knows neither bottle: both are noted on this device,
    and later on the server."""
    crew, first, second = phone(), planned["check"], planned_too["check"]
    crew.take_along(planned)
    crew.take_along(planned_too)
    crew.offline()
    label = top_bottle(crew, planned, first)
    other = proposed(crew, planned, second)
    assert other != label
    crew.page.get_by_label("Label").fill(label)
    crew.page.get_by_role("button", name="Note the bottle").click()
    expect(crew.page.locator(".error")).to_contain_text("is a bottle already")
    crew.page.get_by_label("Label").fill(other)
    crew.press("Note the bottle")
    third = proposed(crew, planned_too, second)
    assert third not in (label, other)
    assert {row["state"] for row in crew.kept()} == {"waiting"}
    crew.online()
    crew.waits_for_nothing()
    checks = {one["key"]: one for one in crew.day_on_server(planned_too)["checks"]}
    told = [[row["label"] for row in checks[key]["samples"]] for key in (first, second)]
    assert told == [[label], [other]]
    assert proposed(crew, planned_too, second) == third


def proposed(crew: Phone, planned: dict[str, Any], check: str) -> str:
    crew.open(planned, f"/check/{check}")
    crew.page.get_by_label("Point of the tank").select_option("top")
    return crew.page.get_by_label("Label").input_value()


def top_bottle(crew: Phone, planned: dict[str, Any], check: str) -> str:
    label = proposed(crew, planned, check)
    crew.press("Note the bottle")
    expect(bottle_of(crew, label)).to_be_visible()
    return label
