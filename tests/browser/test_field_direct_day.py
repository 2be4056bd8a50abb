"""A day of direct tests on a phone without signal: measured, asked about, put back, handed in."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Locator, expect

from tests.browser.fielding import Phone
from tests.browser.test_field_page import GLOVE, PRESSED, WIDE

pytestmark = pytest.mark.browser


def test_a_draw_down_without_signal_reaches_the_server(
    planned_direct: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew, test = phone(), planned_direct["tests"]["draw_down"]
    crew.take_along(planned_direct)
    crew.offline()
    expect(crew.page.locator("article.visit-test")).to_have_count(4)
    crew.start(planned_direct)
    discharged(crew, test)
    crew.page.get_by_role("button", name="Measure", exact=True).click()
    expect(crew.page.get_by_text("Caution:")).to_be_visible()
    vessel(crew, test)
    levels(crew, test)
    photograph(crew, tmp_path)
    stopped(crew, test)
    restored(crew, planned_direct)
    crew.screen(test, "result")
    answers = crew.page.locator(".so-far .answer")
    expect(answers.first.locator(".limits")).to_have_text("in band")
    expect(crew.page.locator(".so-far")).not_to_contain_text("settled")
    crew.press("Hand in")
    assert {row["state"] for row in crew.kept()} == {"waiting"}
    crew.online()
    crew.waits_for_nothing()
    assert {row["state"] for row in crew.kept()} <= {"taken"}  # gone, once the day is fetched anew
    handed_in(crew.day_on_server(planned_direct), test)


def discharged(crew: Phone, test: dict[str, Any]) -> None:
    """Foam is stamped and the flow noted; no bottle is asked for."""
    crew.screen(test, "discharge")
    for run, name in test["runs"]:
        crew.page.locator(f"#foam-{run}").click()
        expect(crew.page.locator(f"#sample-{run}")).to_have_count(0)
        crew.note_run(run, solution_flow="1000")
        expect(crew.said).to_contain_text(f"Measured at {name}: kept on this device")


def fill(crew: Phone, prefix: str, key: str, **texts: str) -> None:
    """Numbers with their units, choices by what they mean, in the order given."""
    for name, text in texts.items():
        entry = crew.page.locator(f"#{prefix}-{key}-{name}")
        if entry.evaluate("one => one.tagName") == "SELECT":
            entry.select_option(text)
            continue
        unit = crew.page.locator(f"#{prefix}-{key}-{name}-unit")
        number, _, named = text.rpartition(" ")
        if unit.count():
            entry.fill(number)
            unit.select_option(named)
        else:
            entry.fill(text)


def vessel(crew: Phone, test: dict[str, Any]) -> None:
    """A standing tank of 1.2 m; what its shape does not have is not asked."""
    key = test["test"]
    expect(crew.page.get_by_text("The vessel has no shape with all its sizes yet.")).to_be_visible()
    expect(crew.page.locator(f"#setup-{key}-diameter")).to_have_count(0)
    fill(crew, "setup", key, shape="box")
    expect(crew.page.locator(f"#setup-{key}-width")).to_be_visible()
    fill(
        crew, "setup", key, second_fitted="FT-7", second_accuracy="60 %",
        shape="standing_cylinder", heads="flat", diameter="1200 mm", length="2 m",
        level_step="1 mm",
    )  # fmt: skip
    crew.page.locator(f"#keep-setup-{key}").click()
    expect(crew.page.locator(".error")).to_contain_text("is no accuracy of a meter")
    fill(crew, "setup", key, second_accuracy="2 %")
    crew.page.locator(f"#keep-setup-{key}").click()
    expect(crew.said).to_contain_text("kept on this device")
    expect(crew.page.locator(f"#setup-{key}-width")).to_have_count(0)


def card_of(crew: Phone, name: str) -> Locator:
    heading = crew.page.get_by_role("heading", name=name, exact=False)
    return crew.page.locator("section.run", has=heading).first


def levels(crew: Phone, test: dict[str, Any]) -> None:
    """1000 L/min at 3.2 % for four minutes is 128 L: of π/4 · 1.2² m² that is 113.2 mm of level."""
    run, name = test["runs"][0]
    card, page = card_of(crew, name), crew.page
    keep = page.locator(f"#keep-measured-{run}")
    fill(crew, "measured", run, level_before="1500 mm")
    keep.click()
    expect(crew.said).to_contain_text("run at least so long (common practice)")
    fill(crew, "measured", run, level_after="1510 mm", duration="2.30")
    keep.click()
    expect(card.locator(".error")).to_contain_text("A plain 2.30 could be either")
    page.wait_for_timeout(500)
    page.reload()  # what was typed and not kept yet is there as well
    expect(page.locator(f"#measured-{run}-duration")).to_have_value("2.30")
    fill(crew, "measured", run, duration="0:10")
    keep.click()
    expect(card.locator(".error")).to_contain_text("lies below that before it")
    fill(crew, "measured", run, level_after="1495 mm")
    keep.click()
    expect(crew.said).to_contain_text("run about 10 seconds longer")
    fill(crew, "measured", run, level_after="1386.8 mm", duration="4:00")
    keep.click()
    expect(card).to_contain_text("The time between is 4 minutes.")
    expect(card.locator(".answer")).to_contain_text("3.20 %")
    expect(card.locator(".limits")).to_have_text("in band")
    expect(card.locator(".only-here")).to_be_visible()
    other, _ = test["runs"][1]
    fill(crew, "measured", other, level_before="1386 mm", level_after="1270 mm", duration="4:00")
    page.locator(f"#keep-measured-{other}").click()
    expect(page.locator("section.run .answer")).to_have_count(2)


def photograph(crew: Phone, folder: Path) -> None:
    picture = folder / "gauge.jpg"
    Image.new("RGB", (64, 48), "grey").save(picture)
    card = crew.page.locator("section.run").first
    card.locator("input[type=file]").set_input_files(picture)
    expect(card).to_contain_text("1 photo")


def stopped(crew: Phone, test: dict[str, Any]) -> None:
    crew.screen(test, "stop")
    steps = crew.page.locator("ol.order > li")
    for position in range(steps.count()):
        crew.page.locator("#flush-done").click()
        expect(steps.nth(position)).to_have_class("done")
    expect(crew.page.get_by_text("Every step is done.")).to_be_visible()


def restored(crew: Phone, day: dict[str, Any]) -> None:
    crew.open(day, "/restore")
    left = crew.page.locator("ol.order > li.next")
    for count in range(left.count(), 0, -1):
        expect(left).to_have_count(count)
        left.first.get_by_role("button", name="Restored").click()
    expect(crew.page.get_by_text("Back in service: the last line has ended.")).to_be_visible()


def handed_in(server: dict[str, Any], test: dict[str, Any]) -> None:
    told = next(one for one in server["direct_tests"] if one["key"] == test["test"])
    assert told["state"] == "handed_in"
    run = test["runs"][0][0]
    read = told["measured"][run]
    assert [read[name] for name in ("level_before", "level_after", "duration")] == [
        "1500 mm", "1386.8 mm", "4:00",
    ]  # fmt: skip
    assert (told["setup"]["diameter"], told["setup"]["second_accuracy"]) == ("1200 mm", "2 %")
    # Bottles of a check of the same crew and day have theirs beside it.
    of = [photo["of"] for photo in server["photos"] if "sample" not in photo["of"]]
    assert of == [{"run": run}]


def test_meters_are_read_by_kind_and_a_totaliser_counts_up(
    planned_direct: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew, test = phone(), planned_direct["tests"]["two_flows"]
    run, name = test["runs"][0]
    crew.take_along(planned_direct)
    crew.offline()
    crew.start(planned_direct)
    crew.screen(test, "measure")
    page, keep = crew.page, crew.page.locator(f"#keep-measured-{run}")
    meter = page.locator(f"#setup-{test['test']}-concentrate_meter")
    meter.select_option(index=1)
    fill(
        crew, "setup", test["test"], concentrate_accuracy="1 %", meter_in="solution",
        second_fitted="FT-7", second_accuracy="2 %",
    )  # fmt: skip
    page.locator(f"#keep-setup-{test['test']}").click()
    expect(crew.said).to_contain_text("kept on this device")
    expect(page.locator(f"#measured-{run}-duration")).to_have_count(0)
    fill(crew, "measured", run, concentrate_source="meter", concentrate_read="rate")
    fill(crew, "measured", run, concentrate_flow="3200 L/min", second_read="rate")
    fill(crew, "measured", run, second_source="meter", second_flow="1000 L/min")
    keep.click()
    card = card_of(crew, name)
    expect(card).to_contain_text("whether a totaliser was read as a flow")
    expect(card).to_contain_text("More flows in the concentrate line than in the solution")
    fill(crew, "measured", run, concentrate_read="totaliser")
    expect(page.locator(f"#measured-{run}-concentrate_flow")).to_have_count(0)
    fill(
        crew, "measured", run, concentrate_start="3200 L", concentrate_end="328 L", duration="4:00"
    )
    keep.click()
    expect(card.locator(".error")).to_contain_text("shows more after the run than before it")
    fill(crew, "measured", run, concentrate_end="3328 L")
    keep.click()
    expect(card.locator(".answer")).to_contain_text("3.20 %")
    crew.screen(test, "discharge")
    expect(page.get_by_text("as the meters under Measure give it: 1000 L/min")).to_be_visible()
    expect(page.locator(f"#run-{run}-solution_flow")).to_have_count(0)
    crew.screen(test, "result")
    expect(page.get_by_text(f"{test['runs'][1][1]} lacks something")).to_have_count(0)
    expect(page.get_by_text(f"{test['runs'][1][1]} does not say where the flow")).to_be_visible()
    crew.online()
    crew.waits_for_nothing()
    told = next(
        one for one in crew.day_on_server(planned_direct)["direct_tests"]
        if one["key"] == test["test"]
    )  # fmt: skip
    assert told["measured"][run]["concentrate_end"] == "3328 L"
    assert [(one["solution_flow"], one["flow_source"]) for one in told["runs"][:1]] == [
        ("1000 L/min", "meter")
    ]
    assert len(told["setup"]["concentrate_meter"]) == 36  # its key


def test_a_drum_on_a_scale_gives_its_percent_on_the_spot(
    planned_direct: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """32.0 L of 1040 kg/m³ are 33.28 kg; over a minute at 1000 L/min that is 3.2 % (arithmetic)."""
    crew, test = phone(), planned_direct["tests"]["weighed"]
    run, name = test["runs"][0]
    crew.take_along(planned_direct)
    crew.offline()
    crew.start(planned_direct)
    crew.screen(test, "discharge")
    crew.note_run(run, solution_flow="1000")
    crew.screen(test, "measure")
    page, keep = crew.page, crew.page.locator(f"#keep-measured-{run}")
    fill(
        crew, "setup", test["test"], scale="WT-3", scale_step="0.1 kg", scale_error="0.2 kg",
        density="1.04 kg/m³", density_error="2 kg/m³", density_from="certificate",
        second_fitted="FT-7", second_accuracy="2 %",
    )  # fmt: skip
    page.locator(f"#keep-setup-{test['test']}").click()
    expect(page.locator(".error")).to_contain_text("it is 700 to 1600 kg/m³")
    fill(crew, "setup", test["test"], density="1.04 g/mL")
    page.locator(f"#keep-setup-{test['test']}").click()
    expect(crew.said).to_contain_text("kept on this device")
    fill(crew, "measured", run, mass_before="214.6 kg")
    keep.click()
    card = card_of(crew, name)
    expect(card).to_contain_text("the scale goes down by ten of its steps in about")
    fill(crew, "measured", run, mass_after="214.6 kg", duration="1:00")
    keep.click()
    expect(card.locator(".error")).to_contain_text("shows less after the run than before it")
    fill(crew, "measured", run, mass_after="181.32 kg")
    keep.click()
    expect(card.locator(".answer")).to_contain_text("3.20 %")
    crew.screen(test, "result")
    expect(page.get_by_text(f"{name} lacks something")).to_have_count(0)
    crew.online()
    crew.waits_for_nothing()
    tests = crew.day_on_server(planned_direct)["direct_tests"]
    told = next(one for one in tests if one["key"] == test["test"])
    assert told["measured"][run]["mass_after"] == "181.32 kg"
    assert told["setup"]["density"] == "1.04 g/mL"


def test_another_liquid_is_held_against_its_foam_and_two_phones_may_cross(
    planned_direct: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    first, second = phone(), phone()
    test = planned_direct["tests"]["other_liquid"]
    run = test["runs"][0][0]
    for crew, accuracy in ((first, "1 %"), (second, "1.5 %")):
        crew.take_along(planned_direct)
        crew.offline()
        crew.screen(test, "measure")
        expect(crew.page.locator("section.run").first).to_contain_text("Compared with the")
        fill(
            crew, "setup", test["test"], meter_in="solution" if crew is first else "water",
            concentrate_accuracy=accuracy,
        )  # fmt: skip
        crew.page.locator(f"#keep-setup-{test['test']}").click()
        expect(crew.said).to_contain_text("kept on this device")
    fill(first, "measured", run, beside_on="2026-05-04", beside_source="report, page 3")
    first.page.locator(f"#keep-measured-{run}").click()
    expect(first.said).to_contain_text("kept on this device")
    first.online()
    first.waits_for_nothing()
    second.online()
    expect(second.strip).to_contain_text("1 of them needs you", timeout=30_000)
    second.page.goto("/field/#/waiting")
    sides = second.page.locator("table.sides tbody tr")
    expect(sides).to_have_count(2)
    expect(sides.first).to_contain_text("It may be off by")
    expect(sides.last).to_contain_text("in the water, before the proportioner")
    expect(sides.last).to_contain_text("in the solution, after the proportioner")
    second.page.get_by_role("button", name="Put mine in its place").click()
    second.waits_for_nothing()
    told = next(
        one for one in second.day_on_server(planned_direct)["direct_tests"]
        if one["key"] == test["test"]
    )  # fmt: skip
    assert (told["setup"]["meter_in"], told["setup"]["concentrate_accuracy"]) == ("water", "1.5 %")
    assert told["measured"][run]["beside_source"] == "report, page 3"


def test_measure_fits_360_px_takes_gloves_and_goes_by_keyboard(
    planned_direct: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned_direct)
    crew.offline()
    for test in planned_direct["tests"].values():
        crew.screen(test, "measure")
        assert not crew.page.evaluate(WIDE)
        assert crew.page.evaluate(PRESSED, GLOVE) == []
        for screen in ("discharge", "stop", "result"):
            crew.screen(test, screen)
            assert not crew.page.evaluate(WIDE), screen
            assert crew.page.evaluate(PRESSED, GLOVE) == [], screen
    run = planned_direct["tests"]["draw_down"]["runs"][0][0]
    crew.screen(planned_direct["tests"]["draw_down"], "measure")
    crew.page.locator(f"#measured-{run}-duration").focus()
    crew.page.keyboard.type("2:30")
    crew.page.locator(f"#keep-measured-{run}").focus()
    crew.page.keyboard.press("Enter")
    expect(crew.said).to_contain_text("kept on this device")
    expect(crew.page.get_by_text("The time between is 2 minutes 30 seconds.")).to_be_visible()
