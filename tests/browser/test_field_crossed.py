"""What two phones said otherwise is shown side by side, whatever it was, and one person decides."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, expect

from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser


def side_by_side(crew: Phone) -> Locator:
    expect(crew.strip).to_contain_text("1 of them needs you", timeout=30_000)
    crew.page.goto("/field/#/waiting")
    return crew.page.locator("table.sides")


def test_a_flow_by_a_meter_is_not_lost_to_outlets_of_another_phone(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    metered, pitot = phone(), phone()
    run = planned["runs"][0][0]
    for crew in (metered, pitot):
        crew.take_along(planned)
        crew.offline()
        crew.screen(planned, "discharge")
    metered.note_run(run, solution_flow="1010")
    pitot.page.locator(f"#pitot-{run} summary").click()
    pitot.page.locator(f"#pitot-{run}-0-diameter").fill("38")
    pitot.page.locator(f"#pitot-{run}-0-pressure").fill("2.1")
    pitot.page.locator(f"#sum-{run}").click()
    pitot.page.locator(f"#take-{run}").click()
    expect(pitot.said).to_contain_text("kept on this device")
    metered.online()
    metered.waits_for_nothing()
    pitot.online()
    sides = side_by_side(pitot)
    row = sides.locator("tr", has=pitot.page.get_by_role("rowheader", name="Solution flow"))
    expect(row.locator("td").first).to_contain_text("38 mm; 0.90; 2.1 bar")
    expect(row.locator("td").last).to_have_text("1010 L/min")
    noted = pitot.day_on_server(planned)["tests"][0]["runs"][0]
    assert (noted["solution_flow"], noted["flow_source"]) == ("1010 L/min", "meter")
    pitot.page.get_by_role("button", name="Put mine in its place").click()
    pitot.waits_for_nothing()
    noted = pitot.day_on_server(planned)["tests"][0]["runs"][0]
    assert (noted["outlets"], noted["flow_source"]) == (["38 mm; 0.90; 2.1 bar"], "pitot")


def test_the_earlier_of_two_starts_can_be_put_in_its_place(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    early, late = phone(), phone()
    for crew in (early, late):
        crew.take_along(planned)
        crew.offline()
    early.page.locator("#start-reason").fill("Yearly test, north ring")
    early.start(planned)
    began = early.kept()[0]["at"]
    late.page.wait_for_timeout(1_100)  # moments are told by the second
    late.start(planned)
    late.online()
    late.waits_for_nothing()
    early.online()
    sides = side_by_side(early)
    expect(sides).to_contain_text("Started at")
    row = sides.locator("tr", has=early.page.get_by_role("rowheader", name="Reason"))
    expect(row.locator("td").first).to_have_text("Yearly test, north ring")
    early.page.get_by_role("button", name="Put mine in its place").click()
    early.waits_for_nothing()
    visit = early.day_on_server(planned)["visit"]
    assert visit["started_at"][:19] == began[:19]
    assert visit["impairment_reason"] == "Yearly test, north ring"


def test_foam_that_somebody_else_noted_anew_is_not_taken_back_unseen(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    first, second = phone(), phone()
    run = planned["runs"][0][0]
    first.take_along(planned)
    first.start(planned)
    first.screen(planned, "discharge")
    first.page.locator(f"#foam-{run}").click()
    first.waits_for_nothing()
    second.take_along(planned)
    second.offline()
    second.screen(planned, "discharge")
    second.page.locator(f"#unfoam-{run}").click()
    expect(second.said).to_contain_text("kept on this device")
    first.page.locator(f"#unfoam-{run}").click()
    first.page.locator(f"#foam-{run}").click()
    first.waits_for_nothing()
    anew = first.day_on_server(planned)["tests"][0]["runs"][0]["foam_seen_at"]
    second.online()
    sides = side_by_side(second)
    expect(sides).to_contain_text("Foam seen at")
    expect(sides.locator("td").first).to_have_text("nothing")
    assert second.day_on_server(planned)["tests"][0]["runs"][0]["foam_seen_at"] == anew
    second.page.get_by_role("button", name="Keep theirs").click()
    second.waits_for_nothing()
