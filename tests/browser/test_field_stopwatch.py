"""The stopwatch of a flow point: two presses stamp the time that is otherwise typed.

Expected times are differences of the clock that the test sets, by arithmetic.
"""

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE

pytestmark = pytest.mark.browser

LARGE = 96  # px: what is pressed while one looks at a sight gauge


@pytest.fixture
def crew(planned_direct: dict[str, Any], phone: Callable[..., Phone]) -> Phone:
    """At the measurements of a draw-down, without signal, on a clock that the test moves."""
    own = phone()
    own.page.clock.install()
    own.take_along(planned_direct)
    own.offline()
    own.screen(planned_direct["tests"]["draw_down"], "measure")
    return own


def run_of(planned_direct: dict[str, Any]) -> tuple[str, str]:
    run, name = planned_direct["tests"]["draw_down"]["runs"][0]
    return run, name


def pass_by(crew: Phone, seconds: int) -> None:
    crew.page.clock.fast_forward(seconds * 1000)


def test_two_presses_stamp_the_time_to_the_second_and_a_reload_does_not_stop_it(
    planned_direct: dict[str, Any], crew: Phone
) -> None:
    run, name = run_of(planned_direct)
    button, shown = crew.page.locator(f"#clock-{run}"), crew.page.locator("[data-clock]")
    assert button.bounding_box()["height"] >= LARGE  # type: ignore[index]
    button.focus()
    crew.page.keyboard.press("Enter")
    expect(button).to_have_text("Stop the time")
    expect(button).to_be_focused()
    crew.page.keyboard.press("Enter")  # a bounce stops nothing
    expect(crew.said).to_contain_text("only just started")
    of = planned_direct["visit"]  # a draft lies under its day
    assert [row["place"] for row in crew.kept("drafts")] == [f"{of} clock:{run}"]
    pass_by(crew, 75)
    expect(shown).to_have_text("1:15")
    assert not crew.page.evaluate(WIDE)
    assert crew.page.evaluate(PRESSED, GLOVE) == []
    crew.page.reload()
    expect(button).to_have_text("Stop the time")
    pass_by(crew, 168)
    stopped(crew, run)
    expect(crew.said).to_contain_text(f"Time at {name}")
    [entry] = crew.kept()
    assert (entry["verb"], entry["of"]) == ("note_measured", {"run": run})
    expect(crew.page.locator(f"#measured-{run}-duration")).to_have_value(entry["put"]["duration"])
    crew.online()
    crew.waits_for_nothing()
    assert told(planned_direct, crew)["duration"] == entry["put"]["duration"]


def stopped(crew: Phone, run: str) -> str:
    """Press it, and hold what it stamped against the clock of the page; the press itself comes a
    moment after the clock was read."""
    started = crew.page.evaluate("Date.parse(document.querySelector('[data-clock]').dataset.clock)")
    gone = round((crew.page.evaluate("Date.now()") - started) / 1000)
    crew.page.locator(f"#clock-{run}").click()
    entry = crew.page.locator(f"#measured-{run}-duration")
    expect(entry).to_have_value(re.compile(r"^\d+:\d\d$"))
    typed: str = entry.input_value()
    minutes, seconds = map(int, typed.split(":"))
    assert 60 * minutes + seconds in (gone, gone + 1, gone + 2)
    return typed


def told(planned_direct: dict[str, Any], crew: Phone) -> dict[str, str]:
    tests = crew.day_on_server(planned_direct)["direct_tests"]
    own = planned_direct["tests"]["draw_down"]["test"]
    found: dict[str, str] = next(one for one in tests if one["key"] == own)["measured"][
        run_of(planned_direct)[0]
    ]
    return found


def test_a_press_too_early_is_taken_back_and_a_time_is_typed_over(
    planned_direct: dict[str, Any], crew: Phone
) -> None:
    run, _ = run_of(planned_direct)
    button, entry = (
        crew.page.locator(f"#clock-{run}"),
        crew.page.locator(f"#measured-{run}-duration"),
    )
    button.click()
    crew.page.locator(f"#unstart-{run}").click()
    expect(button).to_have_text("Start the time")
    assert crew.kept("drafts") == []
    button.click()
    expect(button).to_have_text("Stop the time")
    pass_by(crew, 60)
    first = stopped(crew, run)
    crew.page.locator(f"#unstop-{run}").click()
    expect(crew.said).to_contain_text("taken back")
    expect(button).to_have_text("Stop the time")
    expect(entry).to_have_value("")
    pass_by(crew, 90)
    assert stopped(crew, run) > first >= "1:00"  # the start is the same
    entry.fill("9:35")
    crew.page.locator(f"#keep-measured-{run}").click()
    expect(crew.page.get_by_text("The time between is 9 minutes 35 seconds.")).to_be_visible()
    expect(crew.page.locator(f"#unstop-{run}")).to_have_count(0)
    crew.online()
    crew.waits_for_nothing()
    assert told(planned_direct, crew)["duration"] == "9:35"
