"""A phone whose clock is years off: nothing it stamped goes in before a person said when it was."""

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from itm.records.ordering import foam_order, sample_order
from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser
AHEAD = """
const Real = Date, off = 700 * 864e5;
globalThis.Date = class extends Real {
  constructor(...given) { if (given.length) super(...given); else super(Real.now() + off); }
  static now() { return Real.now() + off; }
};
"""


def test_a_day_of_a_wrong_clock_goes_in_with_the_moments_of_the_server(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.page.add_init_script(AHEAD)
    crew.page.reload()
    crew.offline()
    crew.start(planned)
    crew.screen(planned, "discharge")
    run = planned["runs"][0][0]
    crew.note_run(run, solution_flow="1010")
    crew.online()
    expect(crew.strip).to_contain_text("2 of them need you", timeout=30_000)
    assert crew.day_on_server(planned)["visit"]["started_at"] in ("", None)
    crew.page.goto("/field/#/waiting")
    expect(crew.page.locator("li.stuck").first).to_contain_text("by the clock of the server")
    crew.page.get_by_role("button", name="of this day by as much").first.click()
    crew.waits_for_nothing()
    day = crew.day_on_server(planned)
    began = crew.page.evaluate(
        "at => (Date.now() - 700 * 864e5 - new Date(at)) / 60000", day["visit"]["started_at"]
    )
    assert 0 <= began < 10
    assert day["tests"][0]["runs"][0]["solution_flow"] == "1010 L/min"


ORDER = """async ([begun, foam, taken, stopped, read]) => {
  const { orderRemarks } = await import("/static/field/ordering.js");
  const bottle = { label: "S", taken_at: taken, readings: read.map((read_at) => ({ read_at })) };
  const view = { visit: { started_at: begun } };
  const test = { flush: [{ done_at: stopped }, { done_at: null }] };
  return orderRemarks(view, test, { foam_seen_at: foam }, [bottle], "Europe/Berlin");
}"""
TELLING = ("before the first valve", "after the first valve", "was read at", "after stopping")


def test_what_is_out_of_order_is_the_same_on_the_device(opened: Callable[[str], Page]) -> None:
    """Held against the rule of the record by 200 drawn sets of moments."""
    page = opened("/field/")
    drawn = random.Random(20261130)
    zero = datetime(2026, 10, 24, 22, tzinfo=UTC)

    def some(least: int = 0) -> datetime | None:
        if drawn.random() < 0.15:
            return None
        spread = drawn.choice([3, 60, 60, 3000])
        return zero + timedelta(minutes=drawn.randint(-spread, spread), seconds=least)

    told = 0
    for _ in range(200):
        begun, foam, taken, stopped = (some() for _ in range(4))
        read = [at for at in (some(), some()) if at]
        said = [
            foam_order(begun, foam, "Europe/Berlin"),
            sample_order(
                taken, started_at=begun, stopped_at=stopped, read_at=read, zone="Europe/Berlin"
            ),
        ]
        wanted = [next(t for t in TELLING if t in text) for text in said if text]
        given = [
            at.isoformat() if isinstance(at, datetime) else at
            for at in (begun, foam, taken, stopped)
        ]
        shown = page.evaluate(ORDER, [*given, [at.isoformat() for at in read]])
        assert [next(t for t in TELLING if t in text) for text in shown] == wanted
        told += len(wanted)
    assert told > 60
