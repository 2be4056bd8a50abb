"""What was adjusted is put right on the spot, where it is known, without signal."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from itm.doors.sample_labels import printed, stem_in
from tests.browser.fielding import Phone

pytestmark = pytest.mark.browser
PARTS = "metering orifice changed for one of 8.2 mm"


def test_the_parts_that_were_adjusted_are_written_without_signal(
    planned_as_left: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew, key = phone(), planned_as_left["test"]
    crew.take_along(planned_as_left)
    crew.offline()
    crew.screen(planned_as_left, "result")
    crew.page.locator("#note-test summary").click()
    parts = crew.page.locator(f"#test-{key}-adjusted")
    expect(parts).to_have_value("the metering orifice")
    parts.fill(PARTS)
    crew.page.locator("#keep-test").click()
    expect(crew.said).to_contain_text("kept on this device")
    expect(crew.strip).to_contain_text("1 entry only on this device")
    crew.online()
    crew.waits_for_nothing()
    tests = {one["key"]: one for one in crew.day_on_server(planned_as_left)["tests"]}
    assert tests[key]["adjusted"] == PARTS


def test_a_sample_of_as_left_bears_the_name_that_is_printed_for_it(
    planned_as_left: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """Whatever was caught as found: both stand on one bench, and a label is looked for there."""
    crew = phone()
    crew.take_along(planned_as_left)
    day = crew.day_on_server(planned_as_left)
    crew.offline()
    crew.start(planned_as_left)
    tests = {one["phase"]: one for one in day["tests"]}
    for phase, count in (("as_found", 3), ("as_left", 1)):
        run = tests[phase]["runs"][0]
        crew.open(planned_as_left, f"/discharge/{tests[phase]['key']}")
        for _ in range(count):
            crew.page.locator(f"#sample-{run['key']}").click()
            crew.page.wait_for_timeout(3100)  # two presses in a row are asked about
        for label in printed(day)[run["key"]][:count]:
            expect(crew.page.get_by_text(label, exact=True).first).to_be_visible()
    crew.online()
    crew.waits_for_nothing()
    after = crew.day_on_server(planned_as_left)
    assert printed(after) == printed(day)
    labels = [one["label"] for one in after["benches"][0]["bottles"] if one["role"] == "sample"]
    assert len(labels) == 4
    assert any(label.endswith(" as left 1") for label in labels)


NAMES = """async ([names, tests, bench]) => {
  const { stemOf } = await import("/static/field/labels.js");
  return names.flatMap((name) => tests.map((test) => stemOf(name, test, bench)));
}"""


def test_the_device_shortens_and_tells_apart_as_the_papers_do(opened: Callable[..., Page]) -> None:
    names = ["minimum", "m" * 40, "Größter Durchfluß der Düse, Tank 2, Ö", "x" * 25 + "🔥" * 10]
    tests = [
        {"device": device, "tag": tag, "phase": phase}
        for device, tag in (("one", "P-1"), ("two", "P-2"), ("three", "🔥proportioner of the dock"))
        for phase in ("as_found", "as_left")
    ]
    bench = {"first_device": "one"}
    ours = opened("/field/").evaluate(NAMES, [names, tests, bench])
    assert ours == [stem_in(bench, test, {"name": name}) for name in names for test in tests]
    assert len(set(ours)) == len(ours)
