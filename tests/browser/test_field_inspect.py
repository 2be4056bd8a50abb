"""A round of inspection on a phone without signal: noted, opened again, and two of one task."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Locator, expect

from tests.browser.fielding import Phone
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE

pytestmark = pytest.mark.browser

FOUND = {"level": "95", "valves": "yes", "gauges": "yes", "gauge_readings": "7.5 bar"}
TEXTS = ("level", "gauge_readings")


def task_of(crew: Phone, day: dict[str, Any]) -> Locator:
    return crew.page.locator(f"#task-{day['task']}")


def entry(crew: Phone, day: dict[str, Any], name: str) -> Locator:
    return crew.page.locator(f"#inspect-{day['visit']}-{day['task']}-{name}")


def opened(crew: Phone, day: dict[str, Any]) -> None:
    crew.open(day, "/inspect")
    task = task_of(crew, day)
    if task.get_attribute("open") is None:
        task.locator("summary").first.click()
    expect(entry(crew, day, "note")).to_be_visible()


def fill(crew: Phone, day: dict[str, Any], **found: str) -> None:
    for name, text in {**FOUND, **found}.items():
        place = entry(crew, day, f"answer-{name}")
        if name in TEXTS:
            place.fill(text)
        else:
            place.select_option(text)


def keep(crew: Phone, day: dict[str, Any]) -> None:
    crew.page.locator(f"#keep-{day['task']}").click()


def noted(crew: Phone) -> Locator:
    return crew.page.locator("h2:has-text('Noted on this visit') + ul > li")


def picture(folder: Path) -> Path:
    file = folder / "gauge.jpg"
    data = io.BytesIO()
    Image.new("RGB", (40, 30), (120, 40, 40)).save(data, "JPEG")
    file.write_bytes(data.getvalue())
    return file


def lines_on_server(crew: Phone, day: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = crew.day_on_server(day)["inspection"]["noted"]
    return found


def test_a_task_inspected_without_signal_reaches_the_server_with_its_photo(
    planned_round: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    day, crew = planned_round, phone()
    crew.take_along(day)
    crew.offline()
    page = crew.page
    page.get_by_role("link", name="Inspect", exact=True).click()
    expect(page.locator("h1")).to_have_text("Inspect")
    expect(page.get_by_text("Agree with whoever runs the plant")).to_be_visible()
    opened(crew, day)
    keep(crew, day)
    expect(crew.said).to_contain_text("Nothing was typed")
    entry(crew, day, "answer-level").fill("95 or so")
    keep(crew, day)
    wrong = page.locator(f"#inspect-{day['visit']}-{day['task']}-answer-level-error")
    expect(wrong).to_contain_text("write one number")
    expect(entry(crew, day, "answer-level")).to_be_focused()
    entry(crew, day, "answer-level").fill("1,900")
    keep(crew, day)
    expect(wrong).to_contain_text("can be read in two ways; write 1900 or 1.900")
    entry(crew, day, "answer-level").fill("95 or so")
    keep(crew, day)
    expect(page.locator(".error")).to_contain_text(["write one number", "is not answered"])
    fill(crew, day, valves="no")
    task_of(crew, day).locator("input[type=file]").set_input_files(picture(tmp_path))
    expect(task_of(crew, day)).to_contain_text("1 photo")
    crew.open_all()
    assert not page.evaluate(WIDE)
    assert page.evaluate(PRESSED, GLOVE) == []
    expect(crew.strip).to_contain_text("typed and not kept")  # it lies on the disk
    page.reload()
    expect(crew.strip).to_contain_text("typed and not kept")
    opened(crew, day)
    expect(entry(crew, day, "answer-gauge_readings")).to_have_value("7.5 bar")
    entry(crew, day, "note").focus()
    page.keyboard.type("handle is missing")
    page.keyboard.press("Tab")  # why it was not possible
    page.keyboard.press("Tab")
    expect(page.locator(f"#keep-{day['task']}")).to_be_focused()
    page.keyboard.press("Enter")
    expect(noted(crew)).to_have_count(1)
    expect(noted(crew)).to_contain_text("handle is missing")
    expect(noted(crew)).to_contain_text("only on this device")
    expect(task_of(crew, day)).to_have_count(0)
    crew.online()
    crew.waits_for_nothing()
    [line] = lines_on_server(crew, day)
    assert (line["outcome"], line["note"]) == ("fault", "handle is missing")
    assert any(answer.endswith("gauge.jpg") for answer in line["answers"])
    page.goto(f"/inspections/{line['inspection']}/")
    expect(page.get_by_text("handle is missing").first).to_be_visible()


def test_what_was_noted_is_opened_again_and_two_of_one_task_are_asked_about(
    planned_round: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    day, early, late = planned_round, phone(), phone()
    for crew in (early, late):
        crew.take_along(day)
        crew.offline()
        opened(crew, day)
        fill(crew, day)
    tasks = early.day_on_server(day)["inspection"]["tasks"]
    [task] = [one for one in tasks if one["key"] == day["task"]]
    [words] = [want["label"] for want in task["wants"] if want["key"] == "valves"]
    keep(early, day)
    expect(noted(early)).to_contain_text("Yes".lower())
    early.page.get_by_role("button", name="Open it again").click()
    expect(noted(early)).to_have_count(0)
    opened(early, day)
    expect(entry(early, day, "answer-level")).to_have_value("95")
    entry(early, day, "answer-level").fill("93")
    keep(early, day)
    expect(noted(early)).to_contain_text("93")
    early.online()
    early.waits_for_nothing()
    entry(late, day, "answer-valves").select_option("no")
    keep(late, day)
    expect(noted(late)).to_have_count(1)
    late.online()
    expect(late.strip).to_contain_text("1 of them needs you", timeout=30_000)
    [line] = lines_on_server(late, day)
    assert line["outcome"] == "in_order"
    late.page.goto("/field/#/waiting")
    row = late.page.locator("table.sides tr", has_text="What was found")
    # The task is completed by now; what was found is told by its words all the same.
    for side in row.locator("td").all():
        expect(side).to_contain_text(words)
        expect(side).not_to_contain_text("valves:")
    expect(row.locator("td").first).to_contain_text("95")
    expect(row.locator("td").last).to_contain_text("93")
    assert not late.page.evaluate(WIDE)
    late.page.get_by_role("button", name="Put mine in its place").click()
    late.waits_for_nothing()
    [line] = lines_on_server(late, day)
    assert line["outcome"] == "fault"


def test_what_is_due_and_not_noted_is_told_before_the_hand_in(
    planned: dict[str, Any], planned_round: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """A day of the same site; the test asks for none of it, and it is told all the same."""
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.screen(planned, "result")
    due = crew.page.get_by_role("region", name="Inspections that are not noted")
    expect(due).to_contain_text(planned_round["words"])
    due.get_by_role("link", name="To the inspections").click()
    expect(task_of(crew, planned_round)).to_be_visible()
