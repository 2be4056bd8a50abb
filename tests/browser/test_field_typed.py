"""What was typed and not kept is only on the device, and is told wherever that is told."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser
TYPED = "1 text typed and not kept"


def test_what_was_typed_and_not_kept_is_told_until_it_is_kept(
    planned: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.screen(planned, "discharge")
    run = planned["runs"][0][0]
    crew.page.locator(f"#run-{run}-level_before").fill("940")
    expect(crew.strip).to_contain_text(f"{TYPED} only on this device")
    assert crew.page.evaluate("document.activeElement.id") == f"run-{run}-level_before"

    crew.page.goto("/field/#/")
    row = crew.page.locator("ul.days li", has_text="as it was at").first
    expect(row).to_contain_text(TYPED)
    expect(crew.page.locator(f"#off-{planned['visit']}")).to_have_count(0)

    crew.page.goto("/visits/")
    crew.page.get_by_role("button", name="Sign out").click()
    expect(crew.said).to_contain_text(f"{TYPED} is only on this device")
    crew.page.get_by_role("button", name="Look at what waits").click()
    main = crew.page.locator("#field")
    expect(main).to_contain_text("In the tank before: 940 L")
    expect(main).not_to_contain_text("Everything that was entered here is on the server")

    with crew.page.expect_download() as saving:
        crew.page.locator("#export").click()
    saving.value.save_as(tmp_path / "typed.json")
    saved = json.loads((tmp_path / "typed.json").read_text())
    said = {"visit": planned["visit"], "text": "In the tank before: 940 L"}
    assert (saved["entries"], saved["typed"]) == ([], [said])
    crew.page.goto("/field/file/")
    crew.page.locator("#file").set_input_files(tmp_path / "typed.json")
    crew.page.get_by_role("button", name="Hand in").click()
    expect(crew.page.get_by_text("In the tank before: 940 L")).to_be_visible()

    crew.screen(planned, "discharge")
    expect(crew.page.locator(f"#run-{run}-level_before")).to_have_value("940")
    crew.page.locator(f"#keep-{run}").click()
    crew.waits_for_nothing()
    assert crew.day_on_server(planned)["tests"][0]["runs"][0]["level_before"] == "940 L"


def test_it_is_taken_off_by_a_press(planned: dict[str, Any], phone: Callable[..., Phone]) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.page.locator("#start-reason").fill("Another reason")
    expect(crew.strip).to_contain_text(TYPED)
    crew.page.goto("/field/#/waiting")
    crew.page.locator(f"#drop-typed-{planned['visit']} summary").click()
    crew.page.locator(f"#gone-typed-{planned['visit']}").click()
    crew.waits_for_nothing()
    assert crew.kept("drafts") == []
    crew.open(planned)
    expect(crew.page.locator("#start-reason")).to_have_value("Proportioning test")


OLDER = """async ([visit, value]) => {
  const key = localStorage.getItem("itm-field-who");
  const db = await new Promise((done) => {
    const asked = indexedDB.open("itm-field-" + key);
    asked.onsuccess = () => done(asked.result);
  });
  const tx = db.transaction("drafts", "readwrite");
  tx.objectStore("drafts").put(
    { place: "start:reason", visit, key: crypto.randomUUID(), opened: "Proportioning test", value }
  );
  await new Promise((done) => (tx.oncomplete = done));
  db.close();
}"""


def test_the_same_entry_of_two_days_is_two_texts(
    planned: dict[str, Any], planned_too: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.take_along(planned_too)
    crew.offline()
    for day, text in ((planned, "North ring"), (planned_too, "South ring")):
        crew.open(day)
        crew.page.locator("#start-reason").fill(text)
        expect(crew.page.locator("#strip")).to_contain_text("typed and not kept")
    expect(crew.strip).to_contain_text("2 texts typed and not kept")
    crew.page.reload()
    expect(crew.page.locator("#start-reason")).to_have_value("South ring")
    crew.start(planned_too)  # becomes the entry of its own day alone
    crew.open(planned)
    expect(crew.page.locator("#start-reason")).to_have_value("North ring")
    expect(crew.strip).to_contain_text(TYPED)
    [entry] = crew.kept()
    assert (entry["visit"], entry["put"]["reason"]) == (planned_too["visit"], "South ring")


def test_what_an_older_page_left_is_still_typed_in_its_day_and_goes_with_it(
    planned: dict[str, Any], planned_too: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """It lay under the entry alone."""
    crew = phone()
    crew.take_along(planned)
    crew.take_along(planned_too)
    crew.offline()
    crew.page.evaluate(OLDER, [planned["visit"], "By an older page"])
    crew.page.reload()
    expect(crew.strip).to_contain_text(TYPED)
    crew.open(planned_too)
    expect(crew.page.locator("#start-reason")).to_have_value("Proportioning test")
    crew.start(planned_too)
    crew.open(planned)
    expect(crew.page.locator("#start-reason")).to_have_value("By an older page")
    crew.start(planned)
    assert [row["put"]["reason"] for row in crew.kept()] == [
        "Proportioning test", "By an older page",
    ]  # fmt: skip
    assert crew.kept("drafts") == []


TYPE_AND_LEAVE = """([id, text, hash]) => {
  const entry = document.getElementById(id);
  entry.value = text;
  entry.dispatchEvent(new InputEvent("input", { bubbles: true }));
  location.hash = hash;
}"""


def test_what_is_typed_in_the_moment_before_another_day_opens_is_on_the_disk(
    planned: dict[str, Any], planned_too: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.take_along(planned_too)
    crew.open(planned)
    there = f"#/d/{planned_too['visit']}"
    crew.page.evaluate(TYPE_AND_LEAVE, ["start-reason", "Typed and gone", there])
    at = f'#field[data-screen="d/{planned_too["visit"]}"]'
    expect(crew.page.locator(at)).to_be_visible()
    expect(crew.strip).to_contain_text(TYPED)
    crew.page.reload()
    crew.open(planned)
    expect(crew.page.locator("#start-reason")).to_have_value("Typed and gone")
