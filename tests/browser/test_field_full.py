"""A reading typed on a device whose storage is full: nobody is told that it is kept."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone, reading

pytestmark = pytest.mark.browser

QUOTA = 3_000_000  # bytes: the page and a day have room
# Everything that is left goes to something else of this device, down to less than an entry needs.
FILL = """async () => {
  const db = await new Promise((done, failed) => {
    const asked = indexedDB.open("something-else", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("bytes", { autoIncrement: true });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  const put = (size) => new Promise((done) => {
    const tx = db.transaction("bytes", "readwrite", { durability: "strict" });
    tx.objectStore("bytes").put(crypto.getRandomValues(new Uint8Array(size)));
    tx.oncomplete = () => done(true);
    tx.onabort = tx.onerror = () => done(false);
  });
  let most = 4000;
  for (const size of [60000, 20000, 5000, 1000, 200, 40, 8])
    while (most-- > 0 && (await put(size)));
  db.close();
  return most;
}"""
EMPTY = """() => new Promise((done) => {
  const asked = indexedDB.deleteDatabase("something-else");
  asked.onsuccess = asked.onerror = () => done(true);
})"""


def test_a_reading_for_which_there_is_no_room_is_not_said_to_be_kept(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    page = crew.page
    session = crew.context.new_cdp_session(page)
    # Before the first use, because Chromium remembers for a while how much room there was.
    origin = {"origin": page.evaluate("location.origin")}
    session.send("Storage.overrideQuotaForOrigin", {**origin, "quotaSize": QUOTA})
    crew.take_along(planned)
    crew.offline()
    crew.screen(planned, "bench")
    page.locator("#set-out").click()
    crew.read("water", reading(0))
    before = crew.kept()
    assert page.evaluate(FILL) > 0  # it was the room that ended, not the tries
    bottle = page.locator("section.bottle[aria-label='S1']")
    value = bottle.get_by_label("S1, new reading")
    value.fill(reading(2))
    bottle.get_by_label("°C").fill("20.1")
    bottle.get_by_role("button", name="Keep the reading").click()
    expect(crew.said).to_contain_text("Not kept: the storage of this device is full")
    expect(crew.said).to_contain_text("Write it on paper too")
    expect(crew.said).not_to_contain_text("kept on this device")
    expect(value).to_have_value(reading(2))
    expect(bottle.locator("li.reading")).to_have_count(0)
    assert crew.kept() == before
    page.evaluate(EMPTY)
    session.send("Storage.overrideQuotaForOrigin", origin)  # as it was, and more than enough
    crew.read("S1", reading(2))
    assert len(crew.kept()) == len(before) + 1
    crew.online()
    crew.waits_for_nothing()
    [own] = crew.day_on_server(planned)["benches"]
    read = {one["label"]: [r["value"] for r in one["readings"]] for one in own["bottles"]}
    assert (read["water"], read["S1"]) == ([reading(0)], [reading(2)])


def test_a_device_that_is_full_sends_what_waits_and_says_what_it_could_not_note(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    page = crew.page
    session = crew.context.new_cdp_session(page)
    origin = {"origin": page.evaluate("location.origin")}
    session.send("Storage.overrideQuotaForOrigin", {**origin, "quotaSize": QUOTA})
    crew.take_along(planned)
    crew.offline()
    crew.screen(planned, "bench")
    page.locator("#set-out").click()
    crew.read("water", reading(0))
    crew.read("S1", reading(2))
    assert page.evaluate(FILL) > 0
    crew.online()
    expect(crew.strip).to_contain_text("The storage of this device is full", timeout=30_000)
    [own] = crew.day_on_server(planned)["benches"]
    read = {one["label"]: [r["value"] for r in one["readings"]] for one in own["bottles"]}
    assert (read["water"], read["S1"]) == ([reading(0)], [reading(2)])
    page.evaluate(EMPTY)
    session.send("Storage.overrideQuotaForOrigin", origin)
    page.evaluate("window.dispatchEvent(new Event('online'))")  # it tries again by itself, later
    crew.waits_for_nothing()
    [own] = crew.day_on_server(planned)["benches"]
    read = {one["label"]: [r["value"] for r in one["readings"]] for one in own["bottles"]}
    assert (read["water"], read["S1"]) == ([reading(0)], [reading(2)])  # taken once
