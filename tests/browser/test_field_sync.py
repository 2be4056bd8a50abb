"""Handing over: a server that dies, ten repeats, two phones, a full disk, somebody else."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Route, expect

from itm.demo.scenario import scenario
from tests.browser.fielding import Phone, World, reading, samples

pytestmark = pytest.mark.browser


def stamped(crew: Phone, day: dict[str, Any], count: int) -> None:
    """The day started and so many samples taken at the first flow point, without signal."""
    run, name = day["runs"][0]
    crew.start(day)
    crew.screen(day, "discharge")
    crew.page.locator(f"#foam-{run}").click()
    for number in range(1, count + 1):
        if number > 1:
            crew.page.clock.fast_forward(4_000)
        crew.page.locator(f"#sample-{run}").click()
        expect(crew.page.get_by_text(f"{name} {number}", exact=True)).to_be_visible()


def test_a_server_killed_in_mid_sync_loses_and_doubles_nothing(
    planned: dict[str, Any], phone: Callable[..., Phone], world: World
) -> None:
    crew = phone()
    crew.page.clock.install()
    crew.take_along(planned)
    crew.offline()
    stamped(crew, planned, 3)
    killed = []

    def dies(route: Route) -> None:
        """The server takes all of it, and dies before its answer arrives."""
        if killed:
            route.continue_()
            return
        answer = route.fetch()
        assert answer.ok
        killed.append(answer.json()["answers"])
        world.kill()
        route.abort("connectionreset")

    crew.page.route("**/field/entries/", dies)
    crew.online()
    expect(crew.strip).to_contain_text("It is tried again in", timeout=30_000)
    expect(crew.strip).to_contain_text("5 entries only on this device")
    assert {answer["state"] for answer in killed[0]} == {"taken"}
    assert {row["state"] for row in crew.kept()} == {"waiting"}
    world.start()
    # By a press, unless the device came to it by itself while the server was starting.
    crew.page.evaluate("document.getElementById('send-now')?.click()")
    crew.waits_for_nothing()
    name = planned["runs"][0][1]
    assert samples(planned, crew.day_on_server(planned)) == [f"{name} {n}" for n in (1, 2, 3)]


def test_ten_repeats_of_the_same_hand_over_are_one(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    bodies: list[str] = []
    crew.page.on(
        "request",
        lambda sent: bodies.append(sent.post_data or "") if "/field/entries/" in sent.url else None,
    )
    crew.start(planned)
    crew.waits_for_nothing()
    token = crew.context.request.get("/field/who/").json()["csrf"]
    states = set()
    for _ in range(10):
        again = crew.context.request.post(
            "/field/entries/", data=json.loads(bodies[0]), headers={"X-CSRFToken": token}
        )
        states |= {answer["state"] for answer in again.json()["answers"]}
    assert states == {"taken_before"}


def test_two_phones_merge_and_only_the_same_field_twice_is_a_conflict(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    tank, outlet = phone(), phone()
    run, name = planned["runs"][0]
    for crew in (tank, outlet):
        crew.take_along(planned)
        crew.offline()
        crew.screen(planned, "discharge")
    tank.note_run(run, level_before="940", solution_flow="1010")
    outlet.note_run(run, inlet_pressure="7.4", solution_flow="1030")
    tank.online()
    tank.waits_for_nothing()
    outlet.online()
    expect(outlet.strip).to_contain_text("1 of them needs you", timeout=30_000)
    outlet.page.goto("/field/#/waiting")
    sides = outlet.page.locator("table.sides tbody tr")
    expect(sides).to_have_count(1)
    expect(sides).to_contain_text("Solution flow")
    expect(sides.locator("td").first).to_have_text("1030 L/min")
    expect(sides.locator("td").last).to_have_text("1010 L/min")
    expect(outlet.page.locator(".sentence")).to_contain_text("Nothing was overwritten")
    outlet.page.get_by_role("button", name="Put mine in its place").click()
    outlet.waits_for_nothing()
    noted = outlet.day_on_server(planned)["tests"][0]["runs"][0]
    assert noted["name"] == name
    assert (noted["level_before"], noted["inlet_pressure"]) == ("940 L", "7.4 bar")
    assert noted["solution_flow"] == "1030 L/min"


def test_theirs_is_kept_by_taking_mine_off(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    first, second = phone(), phone()
    run = planned["runs"][0][0]
    for crew in (first, second):
        crew.take_along(planned)
        crew.offline()
        crew.screen(planned, "discharge")
    first.note_run(run, solution_flow="1010")
    second.note_run(run, solution_flow="1030")
    first.online()
    first.waits_for_nothing()
    second.online()
    expect(second.strip).to_contain_text("1 of them needs you", timeout=30_000)
    second.page.goto("/field/#/waiting")
    second.page.get_by_role("button", name="Keep theirs").click()
    second.waits_for_nothing()
    second.screen(planned, "discharge")
    expect(second.page.locator(f"#run-{run}-solution_flow")).to_have_value("1010")
    assert second.day_on_server(planned)["tests"][0]["runs"][0]["solution_flow"] == "1010 L/min"


def test_what_is_refused_stays_with_its_sentence_and_goes_once_it_is_right(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    """Two phones wrote the same label on two bottles: one of them has to be written anew, and the
    reading that hangs on its bottle waits for that."""
    first, second = phone(), phone()
    run, name = planned["runs"][0]
    first.take_along(planned)
    first.start(planned)
    first.waits_for_nothing()
    second.take_along(planned)
    for crew in (first, second):
        crew.offline()
        crew.screen(planned, "discharge")
        crew.page.locator(f"#sample-{run}").click()
        expect(crew.page.get_by_text(f"{name} 1", exact=True)).to_be_visible()
    second.screen(planned, "bench")
    second.read(f"{name} 1", reading(3.27))
    first.online()
    first.waits_for_nothing()
    second.online()
    expect(second.strip).to_contain_text("2 entries only on this device; 1 of them needs you",
                                         timeout=30_000)  # fmt: skip
    second.page.goto("/field/#/waiting")
    expect(second.page.locator(".stuck .sentence")).to_contain_text(f"labelled {name} 1")
    second.page.get_by_label("Label on the bottle").fill(f"{name} 1 B")
    second.page.get_by_role("button", name="Send again so").click()
    second.waits_for_nothing()
    server = second.day_on_server(planned)
    assert samples(planned, server) == [f"{name} 1", f"{name} 1 B"]
    bottles = {b["label"]: b for bench in server["benches"] for b in bench["bottles"]}
    assert [r["value"] for r in bottles[f"{name} 1 B"]["readings"]] == [reading(3.27)]


def test_signed_out_nothing_goes_and_nothing_is_lost(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    crew.context.clear_cookies()
    crew.online()
    expect(crew.strip).to_contain_text("You are signed out on this device")
    expect(crew.strip).to_contain_text("1 entry only on this device")
    crew.sign_in("contractor@example.org", scenario()["password"])
    crew.page.goto("/field/")
    crew.waits_for_nothing()
    assert crew.day_on_server(planned)["visit"]["started_at"]


# The database of the person cannot be opened, as some browsers have it for a moment.
NO_DATABASE = """() => {
  indexedDB.open = () => { throw new DOMException("connection lost", "UnknownError"); };
}"""


def test_signing_out_while_the_device_cannot_be_asked_says_so_and_clears_nothing(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.page.route("**/field/entries/", lambda route: route.abort())
    crew.start(planned)
    crew.page.goto("/visits/")
    crew.page.evaluate(NO_DATABASE)
    crew.page.get_by_role("button", name="Sign out").click()
    expect(crew.said).to_contain_text("could not be asked whether anything is only on it")
    crew.page.get_by_role("button", name="Sign out all the same").click()
    crew.page.get_by_role("button", name="Sign in").wait_for()
    crew.page.goto("/field/")
    expect(crew.page.locator("#field")).to_contain_text("1 entry of other people wait")
    crew.page.unroute("**/field/entries/")
    crew.sign_in("contractor@example.org", scenario()["password"])
    crew.page.goto("/field/")
    crew.waits_for_nothing()
    assert crew.day_on_server(planned)["visit"]["started_at"]


def test_signing_out_with_unsent_work_asks_and_another_person_sees_nothing_of_it(
    planned: dict[str, Any], phone: Callable[..., Phone]
) -> None:
    crew = phone()
    crew.take_along(planned)
    crew.page.route("**/field/entries/", lambda route: route.abort())
    crew.start(planned)
    crew.page.goto("/visits/")
    crew.page.get_by_role("button", name="Sign out").click()
    expect(crew.said).to_contain_text("1 entry of field capture is only on this device")
    crew.page.get_by_role("button", name="Sign out all the same").click()
    crew.page.get_by_role("button", name="Sign in").wait_for()
    crew.page.goto("/field/")
    expect(crew.page.get_by_text("Nobody is signed in on this device")).to_be_visible()
    expect(crew.page.locator("#field")).to_contain_text("1 entry of other people wait")
    crew.sign_in("owner@example.org", scenario()["password"])
    crew.page.goto("/field/")
    expect(crew.page.locator("#field")).to_contain_text("1 entry of Marta Quillfeather")
    expect(crew.strip).to_contain_text("Nothing waits on this device")
    expect(crew.page.locator("#field")).not_to_contain_text("Veldwick")
    crew.page.goto(f"/field/#/d/{planned['visit']}")
    expect(crew.page.get_by_text("This day is not on this device")).to_be_visible()
    crew.page.unroute("**/field/entries/")
    crew.sign_out_and_in("contractor@example.org", scenario()["password"])
    crew.page.goto("/field/")
    crew.waits_for_nothing()
    assert crew.day_on_server(planned)["visit"]["started_at"]


QUOTA = 3_000_000  # bytes: the page and a day have room, a photo has not


def test_a_full_disk_says_so_and_takes_nothing_for_kept(
    planned: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew = phone()
    session = crew.context.new_cdp_session(crew.page)
    # Before the first use, because Chromium remembers for a while how much room there was.
    limit = {"origin": crew.page.evaluate("location.origin"), "quotaSize": QUOTA}
    session.send("Storage.overrideQuotaForOrigin", limit)
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    crew.open(planned, "/restore")
    picture = tmp_path / "valve.jpg"
    picture.write_bytes(bytes(6_000_000))
    crew.page.locator("input[type=file]").first.set_input_files(picture)
    expect(crew.said).to_contain_text("Not kept: the storage of this device is full")
    expect(crew.strip).to_contain_text("1 entry only on this device.")
    assert crew.kept("photos") == []
    assert [row["verb"] for row in crew.kept()] == ["start_test_day"]


def test_the_last_resort_is_a_file_that_the_server_takes_once(
    planned: dict[str, Any], phone: Callable[..., Phone], tmp_path: Path
) -> None:
    crew, desk = phone(), phone()
    crew.take_along(planned)
    crew.offline()
    crew.start(planned)
    crew.page.goto("/field/#/waiting")
    with crew.page.expect_download() as saved:
        crew.page.get_by_role("button", name="Save as a file").click()
    path = tmp_path / "entries.json"
    saved.value.save_as(path)
    expect(crew.said).to_contain_text("They stay here until the server has them")
    for answer in ("1 of 1 taken", "1 of 1 taken"):
        desk.page.goto("/field/file/")
        desk.page.get_by_label("File of field capture").set_input_files(path)
        desk.page.get_by_role("button", name="Hand in").click()
        expect(desk.page.get_by_role("heading", level=2)).to_have_text(answer)
    expect(desk.page.locator("main table")).to_contain_text("already there")
    crew.online()
    crew.waits_for_nothing()
    assert crew.day_on_server(planned)["visit"]["started_at"]
