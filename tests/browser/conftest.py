"""The demo as a server of its own, and people who open it in Chromium.

The pages come from `manage.py demo` in another process, so what the README starts is what is
tested. An error in the browser's console, a script fault or an answer of 500 fails the test of
whoever saw it.
"""

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Response

from itm.demo.scenario import scenario
from tests.browser.fielding import SMALL, Phone, World

ROOT = Path(__file__).resolve().parents[2]
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
LOADING = 240  # seconds at most for the invented history
NO_SIGNAL = "console: Failed to load resource"  # what Chromium says of a request without signal


@dataclass
class Visitor:
    """One person in a browser of their own, with what went wrong in it."""

    page: Page
    faults: list[str]

    def fits(self) -> bool:
        """Nothing sticks out sideways."""
        wide: bool = self.page.evaluate(
            "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
        )
        return wide


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    return {
        "executable_path": shutil.which("chromium"),
        "args": ["--no-sandbox", "--disable-gpu", "--no-first-run",
                 "--disable-background-networking"],
    }  # fmt: skip


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the demo lies. DEMO_DATA may name a folder in which it is loaded already."""
    return Path(os.environ.get("DEMO_DATA") or tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="session")
def address(folder: Path) -> Iterator[str]:
    """The demo, loaded into its folder and served until the last test is done; its planned visit is
    used up."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    own = {"ITM_DATA": str(folder), "OUTBOX_NUDGE": "thread"}
    with (folder / "demo.log").open("w") as log:
        server = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", str(port)],
            cwd=ROOT, stdout=log, stderr=subprocess.STDOUT,
            env={k: v for k, v in os.environ.items() if k != "DATABASE_URL"} | own,
        )  # fmt: skip
    try:
        _wait(f"http://127.0.0.1:{port}/healthz", server, folder / "demo.log")
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=20)


def _wait(url: str, server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + LOADING
    while time.monotonic() < end:
        if server.poll() is not None:
            break
        try:
            with urlopen(url, timeout=2):
                return
        except (URLError, TimeoutError, ConnectionError):
            time.sleep(0.5)
    raise AssertionError(f"The demo does not answer:\n{log.read_text()[-3000:]}")


@pytest.fixture
def opened(browser: Browser, world: World) -> Iterator[Callable[[str], Page]]:
    """A page that nobody signed in to."""
    context = browser.new_context(base_url=world.address, viewport=PHONE)
    visitor = Visitor(context.new_page(), [])
    _listen(visitor)

    def go(path: str) -> Page:
        visitor.page.goto(path)
        return visitor.page

    yield go
    context.close()
    assert visitor.faults == []


@pytest.fixture
def enter(browser: Browser, address: str) -> Iterator[Callable[..., Visitor]]:
    """Sign a person in, in a fresh browser of phone or desk size."""
    yield from people_at(browser, address)


@pytest.fixture
def look_around(browser: Browser, world: World) -> Iterator[Callable[..., Visitor]]:
    """The same on the copy of the demo, whose server has nothing else to do beside its pages."""
    yield from people_at(browser, world.address)


def people_at(browser: Browser, address: str) -> Iterator[Callable[..., Visitor]]:
    everybody: list[Visitor] = []

    def sign_in(email: str, *, size: dict[str, int] = DESK) -> Visitor:
        context = browser.new_context(
            base_url=address, viewport=size, has_touch=size == PHONE, accept_downloads=True
        )
        context.set_default_timeout(30_000)
        visitor = Visitor(context.new_page(), [])
        _listen(visitor)
        everybody.append(visitor)
        page = visitor.page
        page.goto("/")
        page.get_by_label("E-mail address").fill(email)
        page.get_by_label("Password").fill(scenario()["password"])
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Sign out").wait_for()
        return visitor

    yield sign_in
    faults = [fault for visitor in everybody for fault in visitor.faults]
    for visitor in everybody:
        visitor.page.context.close()
    assert faults == []


def _listen(visitor: Visitor) -> None:
    def console(message: ConsoleMessage) -> None:
        if message.type == "error":
            visitor.faults.append(f"console: {message.text} at {visitor.page.url}")

    def answered(response: Response) -> None:
        if response.status >= 500:
            visitor.faults.append(f"{response.status} from {response.url}")

    visitor.page.on("console", console)
    visitor.page.on("pageerror", lambda error: visitor.faults.append(f"script: {error}"))
    visitor.page.on("response", answered)


@pytest.fixture(scope="session")
def world(
    folder: Path, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[World]:
    """A copy of the demo on a server of its own, with test days planned that no other test uses."""
    if not (folder / "itm.sqlite3").exists():
        request.getfixturevalue("address")  # loads it
    made = World(tmp_path_factory.mktemp("field"))
    made.copy_from(folder)
    asked = [item.fixturenames for item in request.session.items]
    benches = sum(name in one for one in asked for name in ("planned", "planned_too"))
    made.plan(
        benches, sum("planned_direct" in one for one in asked),
        sum("planned_round" in one for one in asked),
        sum("planned_as_left" in one for one in asked),
    )  # fmt: skip
    try:
        made.start()
        yield made
    finally:
        made.kill()


@pytest.fixture
def planned(world: World) -> dict[str, Any]:
    """A test day that is planned and prepared, and no more."""
    return _next_day(world, "bench")


@pytest.fixture
def planned_too(world: World) -> dict[str, Any]:
    """Another one, of the same device and the same tank on the same day."""
    return _next_day(world, "bench")


@pytest.fixture
def planned_direct(world: World) -> dict[str, Any]:
    """A test day with a test by each direct method, and no more."""
    return _next_day(world, "direct")


@pytest.fixture
def planned_round(world: World) -> dict[str, Any]:
    """A day at a site where a task is due that no other test takes."""
    return _next_day(world, "round")


@pytest.fixture
def planned_short(world: World) -> dict[str, Any]:
    """A day with a test of which a flow point was left out."""
    return _next_day(world, "left")


@pytest.fixture
def planned_as_left(world: World) -> dict[str, Any]:
    """A day with a test after an adjustment."""
    return _next_day(world, "as_left")


def _next_day(world: World, kind: str) -> dict[str, Any]:
    if world.process is None:
        world.start()  # a test killed it and failed before it could start it again
    return world.days[kind].pop()


@pytest.fixture
def phone(browser: Browser, world: World) -> Iterator[Callable[..., Phone]]:
    """A phone of 360 px with a person signed in; more than one for more than one person."""
    phones: list[Phone] = []

    def hand_out(email: str = "contractor@example.org") -> Phone:
        context = browser.new_context(
            base_url=world.address, viewport=SMALL, has_touch=True, accept_downloads=True
        )
        context.set_default_timeout(20_000)
        visitor = Visitor(context.new_page(), [])
        _listen(visitor)
        own = Phone(context, visitor.page, visitor.faults)
        phones.append(own)
        own.sign_in(email, scenario()["password"])
        return own

    yield hand_out
    faults = [fault for own in phones for fault in own.faults if not fault.startswith(NO_SIGNAL)]
    for own in phones:
        own.context.close()
    assert faults == []
