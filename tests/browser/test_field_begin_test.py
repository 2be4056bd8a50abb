"""A test begun where its proportioner stands, with no signal, and worked to its hand-in."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.fielding import Phone
from tests.browser.test_field_day import bench, discharge, restore, stop_and_flush
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE

pytestmark = pytest.mark.browser

STRENGTHS = {"water": 0.0, "S1": 5.0, "S2": 6.0, "S3": 7.0, "concentrate": 100.0}
POURED = {"S1": ("10", "190"), "S2": ("12", "188"), "S3": ("14", "186")}


def another(day: dict[str, Any], server: dict[str, Any]) -> dict[str, Any]:
    """A proportioner of the site of which nothing is prepared on that visit, with an empty list of
    its own to be read on."""
    prepared = {test["device"] for test in server["tests"]}
    devices = server["beginning"]["devices"]
    return next(
        one
        for one in devices
        if one["key"] not in prepared
        and not one["rules"]["periodic"]["problem"]
        and one["nominal_percent"] == "6"
        and not any(lot["other_percent"] for lot in one["lots"])
    )


def form_of(crew: Phone, device: dict[str, Any]) -> Locator:
    crew.page.locator("#begin-tests > summary").click()
    part = crew.page.locator(f"#begin-{device['key']}-as_found")
    part.locator("> summary").click()
    return part


def finest(server: dict[str, Any]) -> dict[str, Any]:
    meters = [
        one
        for one in server["beginning"]["meters"]
        if one["instrument"]["method"] == "refractive_index"
    ]
    return min(meters, key=lambda one: float(one["instrument"]["resolution"]))


def begun(crew: Phone, device: dict[str, Any], meter: dict[str, Any], **said: str) -> str:
    """The key of the test, as the phone worked it out."""
    part = form_of(crew, device)
    part.get_by_label("Read with").select_option(f"meter {meter['key']}")
    for label, text in said.items():
        part.get_by_label(label.replace("_", " ")).fill(text)
    part.get_by_role("button", name="Begin the test of").click()
    expect(crew.said).to_contain_text("begun: kept on this device")
    [row] = [one for one in crew.kept() if one["verb"] == "begin_test"]
    key: str = row["shows"]["test"]["key"]
    return key


def test_a_second_proportioner_is_tested_without_signal_from_its_beginning(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    server = crew.day_on_server(planned)
    device, meter = another(planned, server), finest(server)
    crew.offline()
    page = crew.page
    part = form_of(crew, device)
    part.get_by_role("button", name="Begin the test of").click()
    expect(part.locator(".error")).to_contain_text("Choose what a new bench is read with")
    part.get_by_label("Purpose").select_option("retest")
    part.get_by_label("Glassware").fill("25 mL syringe")
    crew.open_all()
    assert not page.evaluate(WIDE)
    assert page.evaluate(PRESSED, GLOVE) == []
    page.reload()
    expect(crew.strip).to_contain_text("typed and not kept")  # it lies on the disk
    key = begun(crew, device, meter, Water_source="hydrant at the gate")
    expect(page.get_by_role("heading", name="Discharge")).to_be_visible()
    names = [point["name"] for point in device["points"]]
    [row] = [one for one in crew.kept() if one["verb"] == "begin_test"]
    runs = [(run["key"], run["name"]) for run in row["shows"]["test"]["runs"]]
    assert [name for _, name in runs] == names
    day = {"visit": planned["visit"], "test": key, "runs": runs}
    crew.start(day)
    discharge(crew, day)
    stop_and_flush(crew, day)
    restore(crew, day)
    bench(crew, day, STRENGTHS, POURED, sample=6.4)
    crew.screen(day, "result")
    crew.press("Hand in")
    assert {row["state"] for row in crew.kept()} == {"waiting"}
    crew.online()
    crew.waits_for_nothing()
    after = crew.day_on_server(planned)
    [test] = [one for one in after["tests"] if one["key"] == key]
    assert (test["device"], test["purpose"], test["state"]) == (
        device["key"], "retest", "handed_in",
    )  # fmt: skip
    assert [(run["key"], run["name"]) for run in test["runs"]] == runs
    assert all(step["done_at"] for step in test["flush"])
    assert {line["outcome"] for line in after["restoration"]} == {"restored"}
    [own] = [one for one in after["benches"] if one["key"] == test["bench"]]
    assert (own["water_source"], own["glassware"]) == ("hydrant at the gate", "25 mL syringe")
    read = {b["label"]: len(b["readings"]) for b in own["bottles"] if b["role"] != "sample"}
    assert all(read[label] for label in STRENGTHS)
    expect(crew.strip).to_contain_text("As the server had it")  # the day was fetched anew
    assert crew.kept() == []


def test_two_phones_that_begin_the_same_test_put_it_into_one(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    one, other = phone(), phone()
    for crew in (one, other):
        crew.take_along(planned)
    server = one.day_on_server(planned)
    device, meter = another(planned, server), finest(server)
    for crew in (one, other):
        crew.offline()
    key = begun(one, device, meter, Water_source="pond")
    assert begun(other, device, meter, Water_source="hydrant") == key
    day = {"visit": planned["visit"], "test": key}
    for crew, shown in ((one, "1.33301"), (other, "1.33302")):
        crew.screen(day, "bench")
        crew.page.locator("#set-out").click()
        crew.read("water", shown)
    one.online()
    one.waits_for_nothing()
    other.online()
    expect(other.strip).to_contain_text("of them needs you", timeout=30_000)
    assert len([row for row in other.kept() if row["verb"] == "add_reading"]) == 1  # it waits
    other.page.goto("/field/#/waiting")
    sides = other.page.locator("table.sides")
    expect(sides.locator("tbody tr")).to_have_count(1)
    expect(sides.locator("tbody tr")).to_contain_text("Water source")
    expect(sides.locator("tbody tr")).to_contain_text("pond")
    assert not other.page.evaluate(WIDE)
    other.page.get_by_role("button", name="Keep theirs").click()
    other.page.locator("#send-now").click()
    other.waits_for_nothing()
    after = one.day_on_server(planned)
    [test] = [found for found in after["tests"] if found["device"] == device["key"]]
    [own] = [found for found in after["benches"] if found["key"] == test["bench"]]
    water = next(bottle for bottle in own["bottles"] if bottle["role"] == "water")
    assert sorted(found["value"] for found in water["readings"]) == ["1.33301", "1.33302"]
    assert own["water_source"] == "pond"


def test_what_the_server_does_not_take_is_said_and_all_of_it_stays(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """The same test was begun with another meter: two readings have no line in common."""
    one, other = phone(), phone()
    for crew in (one, other):
        crew.take_along(planned)
    server = one.day_on_server(planned)
    device, meter = another(planned, server), finest(server)
    second = next(m for m in server["beginning"]["meters"] if m["key"] != meter["key"])
    for crew in (one, other):
        crew.offline()
    begun(one, device, meter)
    key = begun(other, device, second)
    day = {"visit": planned["visit"], "test": key}
    other.screen(day, "bench")
    other.page.locator("#set-out").click()
    before = len(other.kept())
    one.online()
    one.waits_for_nothing()
    other.online()
    expect(other.strip).to_contain_text("of them needs you", timeout=30_000)
    other.screen(day, "bench")  # it is still there to be worked on
    expect(other.page.locator("p.notice.warning").first).to_contain_text("already has the test")
    other.page.goto("/field/#/waiting")
    stuck = other.page.locator("li.stuck")
    expect(stuck).to_contain_text("What was read with something else cannot go into it")
    expect(stuck.get_by_label("Purpose")).to_have_value("periodic")
    expect(stuck.locator("summary")).to_have_text("Take it off")
    assert not other.page.evaluate(WIDE)
    assert len(other.kept()) == before
    stuck.locator("summary").click()
    stuck.get_by_role("button", name="Take it off with the 1 that hang on it, for good").click()
    other.waits_for_nothing()


READY = """async (lines) => {
  const { linesThere } = await import("/static/field/begun.js");
  const { ready } = await import("/static/field/sync.js");
  const said = (key, verb, of, state = "waiting") => ({
    key, verb, of, put: {}, visit: "v", state,
  });
  const begun = said("begun", "begin_test", { visit: "v" }, "refused");
  const entries = [
    { ...begun, shows: { keys: ["test", "run", "valve", "drain"] } },
    said("ticked", "end_line", { line: "valve" }),
    said("another", "end_line", { line: "drain" }),
    said("noted", "note_run", { run: "run" }),
    said("elsewhere", "end_line", { line: "of another" }),
  ];
  const restoration = lines.map((key) => ({ key }));
  const there = linesThere([{ key: "v", day: { restoration, tests: [{ key: "test" }] } }]);
  return ready(entries, new Set(), [], there).map(({ key }) => key);
}"""


def test_a_valve_is_ticked_although_the_test_that_was_begun_is_refused(
    opened: Callable[[str], Page],
) -> None:
    """Where the day of the server has its line, because somebody else began there too."""
    page = opened("/field/")
    assert page.evaluate(READY, []) == ["elsewhere"]
    assert page.evaluate(READY, ["valve"]) == ["ticked", "elsewhere"]
