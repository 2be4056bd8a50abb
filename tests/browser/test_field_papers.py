"""A laboratory's report attached on a phone without signal: on its disk first, taken once."""

import hashlib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Locator, expect

from tests.browser.fielding import Phone
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE
from tests.itm.registry.pictures import PDF, picture

pytestmark = pytest.mark.browser

LABORATORY, NUMBER = "Institute of the invented", "L-118"


@pytest.fixture
def crew(planned: dict[str, Any], phone: Callable[..., Phone]) -> Phone:
    """At the check of the day, without signal, with one bottle noted."""
    own = phone()
    own.take_along(planned)
    own.offline()
    own.open(planned, f"/check/{planned['check']}")
    # A label of its own: every day of these tests has a check of the same tank.
    own.page.get_by_label("Label").fill(f"P {planned['check'][:8]}")
    own.press("Note the bottle")
    return own


def form(crew: Phone) -> Locator:
    return crew.page.locator("details[id^='paper-']")


def choose(crew: Phone, name: str, data: bytes, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    form(crew).locator("input[type=file]").set_input_files(path)


def begin(crew: Phone) -> None:
    form(crew).locator("summary").first.click()


def fill_in(crew: Phone, number: str = NUMBER) -> None:
    part = form(crew)
    part.get_by_label("Laboratory").fill(LABORATORY)
    part.get_by_label("Number of the report").fill(number)
    part.get_by_label("Day of the report").fill(datetime.now(UTC).date().isoformat())
    part.locator("label.tick").first.click()
    part.get_by_text("What it says of").click()
    part.get_by_label("pH", exact=False).first.fill("7.6")


def keep(crew: Phone) -> None:
    form(crew).get_by_role("button", name="Keep the report").click()


def check_of(crew: Phone, planned: dict[str, Any]) -> dict[str, Any]:
    found = crew.day_on_server(planned)["checks"]
    own: dict[str, Any] = next(one for one in found if one["key"] == planned["check"])
    return own


def test_a_report_waits_on_the_disk_and_goes_with_its_values_before_the_hand_in(
    planned: dict[str, Any], crew: Phone, tmp_path: Path
) -> None:
    begin(crew)
    keep(crew)
    for sentence in ("Choose the file", "Name the laboratory", "Choose the bottles"):
        expect(form(crew).get_by_text(sentence)).to_be_visible()
    choose(crew, "scan.txt", b"no paper", tmp_path)
    expect(form(crew)).to_contain_text("neither a JPEG, PNG or WebP picture nor a PDF")
    choose(crew, "large.pdf", PDF + bytes(15_000_000), tmp_path)
    expect(form(crew)).to_contain_text("“large.pdf” is larger than 15 MB")
    choose(crew, "cut.pdf", PDF[:-8], tmp_path)
    expect(form(crew)).to_contain_text("“cut.pdf” is cut off")
    assert crew.kept("photos") == []
    choose(crew, "L-118.pdf", PDF, tmp_path)
    expect(crew.said).to_contain_text("L-118.pdf is on this device")
    fill_in(crew)
    assert not crew.page.evaluate(WIDE)
    assert crew.page.evaluate(PRESSED, GLOVE) == []
    crew.page.wait_for_timeout(500)
    crew.page.reload()  # chosen and typed, and not kept yet: all of it is still there
    expect(form(crew)).to_contain_text("L-118.pdf, 1 kB")
    expect(form(crew).get_by_label("Number of the report")).to_have_value(NUMBER)
    keep(crew)
    expect(crew.said).to_contain_text(f"Report {NUMBER} of {LABORATORY}: kept on this device")
    crew.page.reload()
    expect(crew.page.locator("#field")).to_contain_text(f"{LABORATORY}, report {NUMBER}")
    expect(crew.page.locator("section.bottle li")).to_contain_text(f"with report {NUMBER}")
    expect(crew.strip).to_contain_text("1 entry and 1 report only on this device")
    crew.page.locator("#hand-in-check").click()
    [row] = crew.kept("photos")
    assert (row["kind"], row["state"], row["put"]["number"]) == ("paper", "waiting", NUMBER)
    crew.online()
    crew.waits_for_nothing()
    check = check_of(crew, planned)
    assert check["state"] == "handed_in"
    [report] = check["reports"]
    assert (report["laboratory"], report["number"]) == (LABORATORY, NUMBER)
    assert report["samples"] == [check["samples"][0]["key"]]
    [value] = check["samples"][0]["values"]
    assert (value["property"], value["value"], value["origin"]) == ("ph", "7.6", "laboratory")
    file = crew.context.request.get(f"/laboratory-reports/{report['key']}/file/")
    assert hashlib.sha256(file.body()).digest() == hashlib.sha256(PDF).digest()


def test_what_the_server_refuses_is_opened_again_and_put_right(
    planned: dict[str, Any], crew: Phone, tmp_path: Path
) -> None:
    begin(crew)
    choose(crew, "photo.jpg", picture("JPEG")[:400], tmp_path)  # a picture by its first bytes alone
    fill_in(crew)
    keep(crew)
    expect(crew.said).to_contain_text("kept on this device")
    crew.online()
    expect(crew.strip).to_contain_text("1 of them needs you", timeout=30_000)
    crew.page.goto("/field/#/waiting")
    expect(crew.page.locator(".sentence")).to_have_text("“photo.jpg” cannot be read as a picture.")
    crew.page.get_by_role("button", name="Open it again").click()
    expect(form(crew).get_by_label("Number of the report")).to_have_value(NUMBER)
    form(crew).get_by_text("What it says of").click()
    expect(form(crew).get_by_label("pH", exact=False).first).to_have_value("7.6")
    choose(crew, "photo.jpg", picture("JPEG"), tmp_path)
    expect(crew.said).to_contain_text("photo.jpg is on this device")
    keep(crew)
    expect(crew.said).to_contain_text("kept on this device")
    crew.waits_for_nothing()
    [report] = check_of(crew, planned)["reports"]
    assert report["name"] == "photo.jpg"


def test_the_last_resort_holds_the_report_and_it_is_taken_once(
    planned: dict[str, Any], crew: Phone, phone: Callable[..., Phone], tmp_path: Path
) -> None:
    begin(crew)
    choose(crew, "L-118.pdf", PDF, tmp_path)
    fill_in(crew)
    keep(crew)
    crew.page.goto("/field/#/waiting")
    with crew.page.expect_download() as saved:
        crew.page.get_by_role("button", name="Save as a file").click()
    path = tmp_path / "entries.json"
    saved.value.save_as(path)
    expect(crew.said).to_contain_text("1 entry, 1 report and 0 photos saved as a file")
    desk = phone()
    desk.page.goto("/field/file/")
    desk.page.get_by_label("File of field capture").set_input_files(path)
    desk.page.get_by_role("button", name="Hand in").click()
    expect(desk.page.get_by_role("heading", level=2)).to_have_text("2 of 2 taken")
    crew.online()
    crew.waits_for_nothing()
    assert len(check_of(crew, planned)["reports"]) == 1
