"""The whole main job in Chromium: from a planned visit to the next due date and the trend."""

import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from itm.demo.scenario import scenario
from tests.browser.conftest import DESK, PHONE, Visitor

pytestmark = pytest.mark.browser

# An invented liquid: 1.33304 in water, 0.000385 for each percent, as the display shows it.
WATER, PER_PERCENT = 1.33304, 0.000385
TEMPERATURE = "20.1"
STRENGTHS = {"minimum": 3.27, "design": 3.4}
# How many digits are shown hangs on the uncertainty, and the display of the meter rounds.
SHOWN = {
    "minimum": re.compile(r"(?<![\d.])3\.2(6[5-9]|7[0-4]?)(?!\d)"),
    "design": re.compile(r"(?<![\d.])3\.(39[5-9]|40[0-4]?)(?!\d)"),
}


def shown(percent: float) -> str:
    return f"{WATER + PER_PERCENT * percent:.5f}"


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def follow(page: Page, words: str) -> None:
    """A link of the page itself, also where it looks like a button."""
    page.locator("main a").filter(has_text=re.compile(rf"^\s*{words}\s*$")).last.click()


def test_a_test_day_reaches_the_report_the_trend_and_the_next_due_date(
    enter: Callable[..., Visitor], tmp_path: Path
) -> None:
    crew = enter("contractor@example.org", size=PHONE)
    prepare(crew.page)
    start(crew.page)
    discharge(crew)
    stop_and_flush(crew)
    restore(crew)
    crew.page.set_viewport_size(DESK)
    bench(crew.page)
    record = hand_in_and_sign(crew.page)
    download(crew.page, tmp_path)
    see_the_trend(enter("inspector@example.org").page)
    see_what_is_next(enter("owner@example.org").page, record)


def prepare(page: Page) -> None:
    planned = page.locator("li", has_text="no test prepared yet").filter(has_text="Pedra Alta")
    planned.get_by_role("link").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Visit to Pedra Alta tank farm")
    follow(page, "Prepare a test")
    follow(page, "PR-2")
    page.get_by_label(re.compile("AM-105")).check()
    page.get_by_label("Water source").fill("hydrant at the rack")
    page.get_by_label("Glassware").fill("25 mL syringe, 500 mL cylinder")
    page.get_by_label("Volume of each standard").fill("500")
    page.locator("form.field-work button").last.click()
    expect(page.get_by_text("3.0 to 3.9 %").first).to_be_visible()


def start(page: Page) -> None:
    follow(page, "Start the test day")
    page.get_by_label("Why the system goes out of service").fill("Annual proportioning test")
    page.get_by_label("Impairment coordinator").fill("Henrique Castelmar")
    page.locator("form.field-work button").last.click()
    expect(page.get_by_text("Out of service").first).to_be_visible()


def discharge(crew: Visitor) -> None:
    page = crew.page
    follow(page, "Discharge")
    for name, flow in (("minimum", "1010"), ("design", "1890")):
        card = page.locator("section.run", has=page.get_by_role("heading", name=name))
        card.get_by_role("button", name="Foam seen", exact=True).click()
        expect(card.get_by_text("Foam seen at")).to_be_visible()
        for count in (1, 2):
            card.get_by_role("button", name="Sample taken", exact=True).click()
            expect(card.get_by_text(f"{name} {count}", exact=True)).to_be_visible()
        card.locator("[name=inlet_pressure]").fill("7.4")
        card.locator("[name=solution_flow]").fill(flow)
        card.get_by_label("Flow taken from").select_option("meter")
        card.get_by_role("button", name="Save what was measured").click()
        expect(card.locator("[name=solution_flow]")).to_have_value(flow)
    assert crew.fits()


def stop_and_flush(crew: Visitor) -> None:
    page = crew.page
    follow(page, "Stop and flush")
    steps = page.locator("ol.order > li")
    for position in range(steps.count()):
        expect(steps.nth(position)).to_have_class("next")
        press(page, "Done")
        expect(steps.nth(position)).to_have_class("done")
    assert crew.fits()


def restore(crew: Visitor) -> None:
    page = crew.page
    follow(page, "Restore")
    for left in range(page.locator("ol.order > li.next").count(), 0, -1):
        expect(page.locator("ol.order > li.next")).to_have_count(left)
        page.get_by_role("button", name="Restored").first.click()
    expect(page.get_by_text("Back in service after")).to_be_visible()
    assert crew.fits()


def bench(page: Page) -> None:
    follow(page, "Bench: PR-2, as found")
    if page.get_by_role("button", name="Set out water").count():
        press(page, "Set out water, standards and concentrate")
    for label, concentrate, water in (
        ("S1", "10", "490"),
        ("S2", "15", "485"),
        ("S3", "20", "480"),
    ):
        page.get_by_label(f"{label}, concentrate poured, mL").fill(concentrate)
        page.get_by_label(f"{label}, water poured, mL").fill(water)
    press(page, "Save amounts")
    expect(page.get_by_label("S3, water poured, mL")).to_have_value("480")
    for bottle, percent in bottles():
        page.get_by_label(f"{bottle}, new reading").first.fill(shown(percent))
    first = page.locator("[data-temperature]").first
    first.fill(TEMPERATURE)
    press(page, "Same temperature for all")
    expect(page.locator("[data-temperature]").last).to_have_value(TEMPERATURE)
    clear_unread(page)
    press(page, "Save readings")
    expect(page.get_by_role("heading", name="So far")).to_be_visible()
    follow(page, "To the result")
    expect(page.locator(".answers")).to_contain_text(SHOWN["minimum"])
    expect(page.locator(".answers")).to_contain_text(SHOWN["design"])


def bottles() -> list[tuple[str, float]]:
    samples = [(f"{name} {n}", strength) for name, strength in STRENGTHS.items() for n in (1, 2)]
    standards = [("S1", 2.0), ("S2", 3.0), ("S3", 4.0)]
    return [("water", 0.0), *standards, ("concentrate", 100.0), *samples]


def clear_unread(page: Page) -> None:
    """A temperature without a reading would be asked about: what is not read has none."""
    for pair in page.locator(".pair:has([data-temperature])").all():
        if not pair.locator("[data-reading]").first.input_value():
            pair.locator("[data-temperature]").fill("")


def hand_in_and_sign(page: Page) -> str:
    press(page, "Hand in")
    expect(page.get_by_text("it waits for a signature")).to_be_visible()
    follow(page, "Sign and seal")
    proof = page.get_by_label("Your password")
    if proof.count():  # a slow machine takes longer than a proof lasts
        proof.fill(scenario()["password"])
    page.locator("form.form-narrow button").click()
    expect(page.locator(".state")).to_contain_text("Sealed, record")
    return page.url


def download(page: Page, folder: Path) -> None:
    """The report is rendered behind the page; who asks too early gets a page that says so."""
    address = page.locator("main a", has_text="Report as PDF").get_attribute("href") or ""
    asked = page.request.get(address)
    for _ in range(60):
        if asked.headers["content-type"] == "application/pdf":
            break
        assert (asked.status, "text/html" in asked.headers["content-type"]) == (202, True)
        page.wait_for_timeout(2000)
        asked = page.request.get(address)
    assert asked.headers["content-type"] == "application/pdf", "two minutes and still no report"
    path = folder / "report.pdf"
    path.write_bytes(asked.body())
    text = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout
    for words in ("PR-2", "Pedra Alta tank farm", "Marta Quillfeather", shown(3.0)):
        assert words in text
    assert SHOWN["minimum"].search(text)


def see_the_trend(page: Page) -> None:
    page.get_by_role("link", name="Trends").click()
    row = page.locator("tr", has_text="Pedra Alta tank farm, Truck loading rack")
    row.get_by_role("link", name="PR-2").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Trend of PR-2")
    for name, percent in SHOWN.items():
        table = page.get_by_role("table", name=f"Results at {name}")
        expect(table).to_contain_text(percent)
        expect(table.locator("tbody tr")).to_have_count(7)
    assert page.locator("figure svg title").count() >= 2


def see_what_is_next(page: Page, record: str) -> None:
    page.get_by_role("link", name="Trends").click()
    row = page.locator("tr", has_text="Truck loading rack")
    expect(row).to_contain_text("window opens in")
    row.get_by_role("link", name="PR-2").click()
    cycles = page.get_by_role("table", name=re.compile("Cycles of the proportioning test"))
    expect(cycles.locator("tbody tr").first).to_contain_text("not yet")
    page.goto(record)
    expect(page.locator(".state")).to_contain_text("Sealed, record")


@pytest.mark.parametrize("email", ["owner@example.org", "contractor@example.org",
                                   "inspector@example.org"])  # fmt: skip
def test_first_pages_fit_a_phone(enter: Callable[..., Visitor], email: str) -> None:
    visitor = enter(email, size=PHONE)
    page = visitor.page
    links = page.locator("nav[aria-label=Main] a").all()
    addresses = [link.get_attribute("href") for link in links]
    assert len(addresses) >= 3
    for path in addresses:
        page.goto(str(path))
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        assert visitor.fits(), path
