"""Handing over where the server fails on one thing, or the way to it is slow."""

import os
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Page, Route, expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser


def photos_of_test(crew: Phone, day: dict[str, Any]) -> list[dict[str, Any]]:
    """Bottles of a check of the same crew and day have theirs beside it."""
    return [one for one in crew.day_on_server(day)["photos"] if "sample" not in one["of"]]


SLOW = 60_000  # bytes a second, about half a megabit: a weak uplink


def fails_on(crew: Phone, words: str) -> list[int]:
    """The server answers 500 to whatever holds these words; how large each batch was."""
    batches: list[int] = []

    def answer(route: Route) -> None:
        body = route.request.post_data or ""
        if words not in body:
            route.continue_()
            return
        batches.append(len(route.request.post_data_json["entries"]))
        route.fulfill(status=500, body="")

    crew.page.route("**/field/entries/", answer)
    return batches


def forgive(crew: Phone) -> None:
    """The answers that this test itself gave."""
    mine = [one for one in crew.faults if one.startswith("500 from")]
    assert mine
    crew.faults[:] = [one for one in crew.faults if one not in mine]


def test_an_entry_that_the_server_fails_on_holds_up_nothing_else(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    run = planned["runs"][0][0]
    crew.screen(planned, "discharge")
    crew.page.locator(f"#foam-{run}").click()
    crew.page.locator(f"#sample-{run}").click()
    expect(crew.page.get_by_text(f"{planned['runs'][0][1]} 1", exact=True)).to_be_visible()
    batches = fails_on(crew, "foam_seen")
    crew.online()
    expect(crew.strip).to_contain_text(
        "1 entry only on this device; 1 of them needs you", timeout=40_000
    )
    assert batches == [3, 3, 1]
    row = crew.day_on_server(planned)["tests"][0]["runs"][0]
    assert row["foam_seen_at"] is None
    assert crew.day_on_server(planned)["visit"]["started_at"]
    assert [one["verb"] for one in crew.kept()] == ["foam_seen"]  # the day was fetched again
    # Whoever would hand the day in is told of it.
    other = phone()
    other.take_along(planned)
    other.screen(planned, "result")
    expect(other.page.get_by_text("still held 1 entry of this day")).to_be_visible()
    crew.page.goto("/field/#/waiting")
    expect(crew.page.locator(".stuck .sentence")).to_contain_text("The server failed on this entry")
    crew.page.unroute("**/field/entries/")
    crew.page.get_by_role("button", name="Send again so").click()
    crew.waits_for_nothing()
    assert crew.day_on_server(planned)["tests"][0]["runs"][0]["foam_seen_at"]
    forgive(crew)


def test_where_the_server_fails_on_all_of_them_none_is_taken_for_the_fault(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    crew.page.locator("#telling summary").click()
    crew.page.locator("#told-told").fill("Fire service")
    crew.press("Note that they were told")
    fails_on(crew, "entries")
    crew.online()
    expect(crew.strip).to_contain_text("It is tried again in", timeout=40_000)
    assert {row["state"] for row in crew.kept()} == {"waiting"}
    crew.page.unroute("**/field/entries/")
    crew.page.evaluate("document.getElementById('send-now')?.click()")
    crew.waits_for_nothing()
    forgive(crew)


def noise(folder: Path, pixels: int) -> Path:
    """A picture that nothing can make smaller: three bytes a pixel."""
    picture = Image.frombytes("RGB", (pixels, pixels), os.urandom(3 * pixels * pixels))
    kept = BytesIO()
    picture.save(kept, "PNG", compress_level=0)
    path = folder / "display.png"
    path.write_bytes(kept.getvalue())
    return path


def slow(page: Page) -> None:
    ways = page.context.new_cdp_session(page)
    ways.send("Network.enable")
    ways.send(
        "Network.emulateNetworkConditions",
        {"offline": False, "latency": 50, "downloadThroughput": -1, "uploadThroughput": SLOW},
    )


def test_a_photo_takes_as_long_as_its_way_is_slow(
    planned: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    """Longer than any other request may take, and the day is fetched before it is through."""
    crew = phone()
    crew.take_along(planned)
    crew.start(planned)
    crew.waits_for_nothing()
    slow(crew.page)
    size = noise(tmp_path, 730).stat().st_size
    assert size / SLOW > 25
    line = crew.day_on_server(planned)["restoration"][0]["key"]
    crew.open(planned, "/restore")
    sent = crew.page.evaluate("Date.now()")
    crew.page.locator(f"#photo-line-{line}").set_input_files(tmp_path / "display.png")
    expect(crew.said).to_contain_text("the photo is kept on this device")
    expect(crew.strip).to_contain_text("Sending: 1 photo left", timeout=20_000)
    expect(crew.strip).to_contain_text("1 photo only on this device.")
    expect(crew.strip).to_contain_text("Nothing waits on this device", timeout=120_000)
    assert crew.page.evaluate("Date.now()") - sent > 20_000
    assert len(photos_of_test(crew, planned)) == 1


def test_a_photo_whose_answer_was_lost_is_not_said_to_be_nowhere(
    planned: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.start(planned)
    crew.waits_for_nothing()
    noise(tmp_path, 40)
    line = crew.day_on_server(planned)["restoration"][0]["key"]
    crew.open(planned, "/restore")
    crew.offline()
    crew.page.locator(f"#photo-line-{line}").set_input_files(tmp_path / "display.png")
    expect(crew.said).to_contain_text("the photo is kept on this device")
    [kept] = crew.kept("photos")
    crew.page.goto("/field/#/waiting")
    off = crew.page.locator(f"#drop-{kept['key']}")
    expect(off).to_contain_text("It was never on the server")
    taken = []

    def lost(route: Route) -> None:
        """The server takes it, and its answer does not arrive."""
        if not taken:
            taken.append(route.fetch().json()["state"])
        route.abort("connectionreset")

    crew.page.route("**/field/photos/", lost)
    crew.online()
    expect(off).to_contain_text("the server may have it", timeout=30_000)
    assert taken == ["taken"]
    crew.page.unroute("**/field/photos/")
    crew.page.evaluate("window.dispatchEvent(new Event('online'))")
    crew.waits_for_nothing()
    assert len(photos_of_test(crew, planned)) == 1
