"""A whole test day on a phone without signal, until the record is handed in."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.fielding import Phone, reading, samples

pytestmark = pytest.mark.browser

STRENGTHS = {"water": 0.0, "S1": 2.0, "S2": 3.0, "S3": 4.0, "concentrate": 100.0}
POURED = {"S1": ("10", "490"), "S2": ("15", "485"), "S3": ("20", "480")}


def test_a_whole_day_without_signal_reaches_the_server(
    planned: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    tell_and_start(crew, planned)
    discharge(crew, planned)
    restart_the_worker(crew, planned)
    stop_and_flush(crew, planned)
    restore(crew, planned)
    bench(crew, planned)
    photograph(crew, tmp_path)
    hand_in(crew, planned)
    waiting = crew.kept()
    assert len(waiting) > 40
    assert {row["state"] for row in waiting} == {"waiting"}
    crew.online()
    crew.waits_for_nothing()
    server = crew.day_on_server(planned)
    whole(planned, server)
    assert crew.kept() == []


def tell_and_start(crew: Phone, day: dict[str, Any]) -> None:
    page = crew.page
    page.get_by_text("Somebody was told", exact=True).click()
    page.get_by_label("Who was told").fill("Monitoring company")
    page.get_by_label("Reference").fill("C-17")
    crew.press("Note that they were told")
    crew.start(day)


def discharge(crew: Phone, day: dict[str, Any]) -> None:
    page = crew.page
    crew.screen(day, "discharge")
    for run, name in day["runs"]:
        card = page.locator("section.run", has=page.get_by_role("heading", name=name))
        page.locator(f"#foam-{run}").click()
        expect(card.locator("[data-since]")).to_contain_text("first sample in")
        page.locator(f"#sample-{run}").click()
        expect(card.get_by_text(f"{name} 1", exact=True)).to_be_visible()
        expect(card.get_by_text("under 30 s it may be lean")).to_be_visible()
        page.locator(f"#sample-{run}").click()  # at once: the same press, asked about
        expect(crew.said).to_contain_text("stamped a moment ago")
        expect(card.locator("ul.samples > li")).to_have_count(1)
        crew.note_run(run, solution_flow="0", inlet_pressure="7.4")
        expect(card.locator(".error")).to_have_text("A flow is above 0.")
        crew.note_run(run, solution_flow="1 010")
        expect(crew.said).to_contain_text(f"Measured at {name}: kept on this device")
        expect(page.locator(f"#run-{run}-inlet_pressure")).to_have_value("7.4")
    run, name = day["runs"][0]
    pitot(crew, run)
    page.wait_for_timeout(3100)
    page.locator(f"#sample-{run}").click()
    expect(page.get_by_text(f"{name} 2", exact=True)).to_be_visible()


def pitot(crew: Phone, run: str) -> None:
    """Two outlets of 63.5 mm: 0.9 · 29.84 · 2.5² · (√26.11 + √24.66) US gpm (NFPA 291)."""
    part = crew.page.locator(f"#pitot-{run}")
    part.locator("summary").click()
    part.get_by_role("button", name="One more outlet").click()
    for outlet, bar in (("0", "1.8"), ("1", "1.7")):
        crew.page.locator(f"#pitot-{run}-{outlet}-diameter").fill("63.5")
        crew.page.locator(f"#pitot-{run}-{outlet}-pressure").fill(bar)
    part.get_by_role("button", name="Work out the sum").click()
    expect(part.locator(".sum")).to_contain_text("2 of 2 outlets together: 6401 L/min")
    crew.page.locator(f"#take-{run}").click()
    expect(crew.said).to_contain_text("6401 L/min by pitot")
    expect(crew.page.locator(".outlets li").last).to_contain_text("63.5 mm; 0.90; 1.7 bar")


def restart_the_worker(crew: Phone, day: dict[str, Any]) -> None:
    """The browser lets its worker go and starts it again, still without signal; what was typed and
    not kept yet is there as well."""
    run = day["runs"][0][0]
    crew.page.locator(f"#run-{run}-level_before").fill("940")
    crew.page.wait_for_timeout(500)
    session = crew.context.new_cdp_session(crew.page)
    session.send("ServiceWorker.enable")
    session.send("ServiceWorker.stopAllWorkers")
    crew.page.reload()
    expect(crew.page.locator(f"#run-{run}-level_before")).to_have_value("940")
    expect(crew.page.locator("ul.samples > li")).to_have_count(3)
    crew.page.goto("about:blank")
    crew.screen(day, "discharge")
    expect(crew.page.locator("ul.samples > li")).to_have_count(3)
    crew.page.locator(f"#keep-{run}").click()
    expect(crew.said).to_contain_text("kept on this device")


def stop_and_flush(crew: Phone, day: dict[str, Any]) -> None:
    crew.screen(day, "stop")
    steps = crew.page.locator("ol.order > li")
    for position in range(steps.count()):
        text = steps.nth(position).locator("div > span").inner_text()
        expect(crew.page.locator(".radio")).to_contain_text(f"step {position + 1}: {text}.")
        crew.page.locator("#flush-done").click()
        expect(steps.nth(position)).to_have_class("done")
    expect(crew.page.get_by_text("Every step is done.")).to_be_visible()


def restore(crew: Phone, day: dict[str, Any]) -> None:
    crew.open(day, "/restore")
    page = crew.page
    left = page.locator("ol.order > li.next")
    first = left.first
    first.get_by_text("Leave out of service").click()
    first.get_by_role("button", name="It stays out of service").click()
    expect(first.locator(".error")).to_have_count(2)
    for count in range(left.count(), 0, -1):
        expect(left).to_have_count(count)
        left.first.get_by_role("button", name="Restored").click()
    expect(page.get_by_text("Back in service: the last line has ended.")).to_be_visible()


def bench(
    crew: Phone, day: dict[str, Any], strengths: dict[str, float] = STRENGTHS,
    poured: dict[str, tuple[str, str]] = POURED, sample: float = 3.27,
) -> None:  # fmt: skip
    page = crew.page
    crew.screen(day, "bench")
    page.locator("#set-out").click()
    for label, (concentrate, water) in poured.items():
        page.get_by_label(f"{label}, concentrate poured, mL").fill(concentrate)
        page.get_by_label(f"{label}, water poured, mL").fill(water)
        crew.press(f"Keep volumes of {label}")
    for label, percent in strengths.items():
        crew.read(label, reading(percent))
    for run, name in day["runs"]:
        for number in range(1, 3 if run == day["runs"][0][0] else 2):
            crew.read(f"{name} {number}", reading(sample))
    odd(crew)
    point = page.locator(".so-far .answer").first
    expect(point).to_contain_text(f"{sample:.2f} %")
    expect(point.locator(".limits")).to_have_text("in band")
    expect(page.locator(".so-far")).to_contain_text("Preliminary")
    expect(page.locator(".so-far")).not_to_contain_text("settled")


def odd(crew: Phone) -> None:
    """1.33340 for 1.33304: asked about at once, kept all the same, then set aside with a reason."""
    water = crew.page.locator("section.bottle[aria-label='water']")
    value = water.get_by_label("water, new reading")
    value.fill("1.3334o")
    water.get_by_role("button", name="Keep the reading").click()
    expect(water.locator(".error")).to_contain_text("write one number")
    expect(value).to_have_value("1.3334o")
    crew.read("water", "1.33340")
    expect(crew.said).to_contain_text("Did the display show 1.33304?")
    expect(water.locator(".asked")).to_have_count(1)
    last = water.locator("li.reading").last
    last.get_by_text("Set aside", exact=True).click()
    last.get_by_label("Why it is set aside").fill("typed wrongly; read again beside it")
    last.get_by_role("button", name="Set it aside").click()
    expect(water.locator("li.reading.aside")).to_have_count(1)


def photograph(crew: Phone, folder: Path) -> None:
    from PIL import Image

    picture = folder / "display.jpg"
    Image.new("RGB", (64, 48), "grey").save(picture)
    first = crew.page.locator("li.reading").first
    first.locator("input[type=file]").set_input_files(picture)
    expect(first).to_contain_text("1 photo")
    expect(crew.strip).to_contain_text("1 photo only on this device")


def hand_in(crew: Phone, day: dict[str, Any]) -> None:
    crew.screen(day, "result")
    expect(crew.page.get_by_text("It goes after the")).to_be_visible()
    crew.press("Hand in")
    expect(crew.page.get_by_text("only then it is handed in")).to_be_visible()


def whole(day: dict[str, Any], server: dict[str, Any]) -> None:
    test = next(one for one in server["tests"] if one["key"] == day["test"])
    assert test["state"] == "handed_in"
    assert [one["told"] for one in server["notices"]] == ["Monitoring company"]
    names = [name for _, name in day["runs"]]
    assert samples(day, server) == sorted([f"{names[0]} 1", f"{names[0]} 2", f"{names[1]} 1"])
    flows = {run["name"]: (run["solution_flow"], run["flow_source"]) for run in test["runs"]}
    assert flows == {names[0]: ("6401 L/min", "pitot"), names[1]: ("1 010 L/min", "meter")}
    assert test["runs"][0]["outlets"] == ["63.5 mm; 0.90; 1.8 bar", "63.5 mm; 0.90; 1.7 bar"]
    assert all(step["done_at"] for step in test["flush"])
    assert {line["outcome"] for line in server["restoration"]} == {"restored"}
    bottles = {b["label"]: b for bench in server["benches"] for b in bench["bottles"]}
    assert bottles["S1"]["concentrate_ml"] == "10"
    assert [r["value"] for r in bottles["water"]["readings"]] == ["1.33304", "1.33340"]
    assert [bool(r["set_aside_reason"]) for r in bottles["water"]["readings"]] == [False, True]
    # Bottles of a check of the same crew and day have theirs beside it.
    assert ["reading" in one["of"] for one in server["photos"]].count(True) == 1
