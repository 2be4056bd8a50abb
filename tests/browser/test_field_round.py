"""The owner's own people inspect with no signal, on a round without a contractor's visit."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone
from tests.browser.test_field_inspect import entry, fill, keep, picture, task_of
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE

pytestmark = pytest.mark.browser


def test_an_owner_takes_what_is_due_along_and_it_reaches_the_server(
    planned_round: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew = phone("veldwick@example.org")
    site = phone().day_on_server(planned_round)["visit"]["site"]
    day = {"visit": site["key"], "task": planned_round["task"]}
    page = crew.page
    page.goto(f"/sites/{site['key']}/")
    page.get_by_role("link", name="Take it along: works without signal").click()
    expect(page.get_by_text("This day is not on this device yet")).to_be_visible()
    page.goto("/field/#/")
    offered = page.locator("li", has=page.locator(f"#take-{site['key']}"))
    expect(offered).to_contain_text("Round of your own")
    crew.take_along(day)
    crew.offline()
    expect(page.locator("h1")).to_have_text(f"Inspect {site['name']}")
    task_of(crew, day).locator("summary").first.click()
    fill(crew, day)
    entry(crew, day, "note").fill("by the shift")
    crew.open_all()
    assert not page.evaluate(WIDE)
    assert page.evaluate(PRESSED, GLOVE) == []
    if task_of(crew, day).locator("input[type=file]").count():
        task_of(crew, day).locator("input[type=file]").set_input_files(picture(tmp_path))
    page.reload()
    expect(crew.strip).to_contain_text("typed and not kept")
    task_of(crew, day).locator("summary").first.click()
    keep(crew, day)
    expect(crew.said).to_contain_text("kept on this device")
    noted = page.locator("h2:has-text('Noted today') + ul > li")
    expect(noted).to_contain_text("only on this device")
    page.locator("p.back a").click()
    expect(page.locator("ul.days")).to_contain_text("only here")
    assert not page.evaluate(WIDE)
    crew.online()
    crew.waits_for_nothing()
    told = crew.day_on_server(day)["inspection"]
    [line] = [one for one in told["noted"] if one["note"] == "by the shift"]
    assert line["outcome"] == "in_order"
    assert day["task"] not in [one["key"] for one in told["tasks"]]
    crew.open(day)
    expect(noted).not_to_contain_text("only on this device")
