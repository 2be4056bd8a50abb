"""A phone whose clock is years off: nothing it stamped goes in before a person said when it was."""

import random
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
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


MOVING = """async () => {
  const { alike, moved } = await import("/static/field/stamps.js");
  const put = (n, at, state, code) => ({
    n, key: `k${n}`, visit: "v", at, state, code, now: state === "refused" ? { at } : undefined,
  });
  const rows = [
    put(1, "2026-06-15T20:00:00Z", "refused", "to_come"),
    put(2, "2026-06-15T20:10:00Z", "waiting", "waits"),
    put(3, "2026-06-15T20:20:00Z", "refused", "range"),
    put(4, "2026-06-15T20:30:00Z", "refused", "to_come"),
    put(5, "2026-06-15T08:40:00Z", "waiting", "waits"), // the clock was put right before this one
    put(6, "2026-06-15T08:50:00Z", "waiting", ""),
    { ...put(undefined, "2026-06-15T20:15:00Z", "waiting", ""), key: "photo" },
  ];
  const of = (row, all) => alike(row, all).map(({ key }) => key);
  const early = (row) => (row.code === "to_come" ? { ...row, code: "before_start" } : row);
  const before = rows.map(early);
  const dated = { ...rows[0], at: "2028-05-15T22:30:00Z" };
  const day = (words) => moved({ ...dated, put: words }, -700 * 864e5, "Europe/Berlin").put;
  return [
    of(rows[0], rows), of(before[0], before),
    day({ done_on: "2028-05-16" }), day({ checked_on: "2028-05-16", note: "x" }),
    day({ done_on: "2028-05-14" }), moved(dated, 60000, "UTC").at,
  ];
}"""


def test_what_one_clock_stamped_moves_with_its_days_and_nothing_else_does(
    opened: Callable[[str], Page],
) -> None:
    page = opened("/field/")
    own, refused, done, checked, said, at = page.evaluate(MOVING)
    assert own == ["k1", "k2", "k4"]
    assert refused == ["k1", "k4"]  # the start stands, so what waits has another reason
    right = (date(2028, 5, 16) - timedelta(days=700)).isoformat()
    assert done == {"done_on": right}
    assert checked == {"checked_on": right, "note": "x"}
    assert said == {"done_on": "2028-05-14"}  # a person wrote that
    assert at == "2028-05-15T22:31:00.000Z"
