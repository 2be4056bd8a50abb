"""A server that can be killed, and people with phones who work a test day on it."""

import json
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import BrowserContext, Locator, Page, expect

ROOT = Path(__file__).resolve().parents[2]
SMALL = {"width": 360, "height": 740}
PASSWORD_LABEL, EMAIL_LABEL = "Password", "E-mail address"
# An invented liquid: 1.33304 in water, 0.000385 for each percent.
WATER, PER_PERCENT = 1.33304, 0.000385


def reading(percent: float) -> str:
    return f"{WATER + PER_PERCENT * percent:.5f}"


@dataclass
class World:
    """A copy of the demo's data, served by a process of its own that a test may kill."""

    folder: Path
    port: int = 0
    process: subprocess.Popen[bytes] | None = None
    days: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def environment(self) -> dict[str, str]:
        own = {"ITM_DATA": str(self.folder), "OUTBOX_NUDGE": "none"}
        return {k: v for k, v in os.environ.items() if k != "DATABASE_URL"} | own

    def copy_from(self, demo: Path) -> None:
        source = sqlite3.connect(demo / "itm.sqlite3")
        target = sqlite3.connect(self.folder / "itm.sqlite3")
        source.backup(target)
        source.close()
        target.close()
        # With its photos and papers: a page that shows one would else be a fault of the server.
        shutil.copytree(demo / "files", self.folder / "files", dirs_exist_ok=True)

    def plan(self, *counts: int) -> None:
        planned = subprocess.run(
            [sys.executable, "-m", "tests.browser.plan_days", *map(str, counts)],
            cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert planned.returncode == 0, planned.stderr[-3000:]
        self.days = json.loads(planned.stdout)

    def start(self) -> None:
        if not self.port:
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                self.port = probe.getsockname()[1]
        log = (self.folder / "serve.log").open("a")
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "runserver", "--noreload", f"127.0.0.1:{self.port}"],
            cwd=ROOT, env=self.environment, stdout=log, stderr=subprocess.STDOUT,
        )  # fmt: skip
        end = time.monotonic() + 60
        while time.monotonic() < end:
            try:
                with urlopen(f"{self.address}/healthz", timeout=2):
                    return
            except (URLError, TimeoutError, ConnectionError):
                time.sleep(0.2)
        raise AssertionError((self.folder / "serve.log").read_text()[-3000:])

    def kill(self) -> None:
        """As a power cut would: no farewell."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(timeout=20)
            self.process = None


@dataclass
class Phone:
    """One person with a phone of 360 px, and what went wrong in its console."""

    context: BrowserContext
    page: Page
    faults: list[str]

    def sign_in(self, email: str, password: str) -> None:
        self.page.goto("/sign-in/")
        self.page.get_by_label(EMAIL_LABEL).fill(email)
        self.page.get_by_label(PASSWORD_LABEL).fill(password)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.get_by_role("button", name="Sign out").wait_for()

    def sign_out_and_in(self, email: str, password: str) -> None:
        self.page.goto("/visits/")
        self.page.get_by_role("button", name="Sign out").click()
        self.page.get_by_role("button", name="Sign in").wait_for()
        self.sign_in(email, password)

    def take_along(self, day: dict[str, Any]) -> None:
        """The day onto the phone, and the page itself into the hands of its worker."""
        self.page.goto("/field/")
        self.page.locator(f"#take-{day['visit']}").click()
        expect(self.said).to_contain_text("it opens without signal")
        self.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        self.open(day)

    def open(self, day: dict[str, Any], screen: str = "") -> None:
        at = f"d/{day['visit']}{screen}"
        self.page.goto(f"/field/#/{at}")
        # A heading alone may be that of the screen before: what is counted would be its.
        expect(self.page.locator(f'#field[data-screen="{at}"] h1')).to_be_visible()

    def screen(self, day: dict[str, Any], name: str) -> None:
        self.open(day, f"/{name}/{day['test']}")

    def offline(self) -> None:
        self.context.set_offline(True)
        expect(self.page.locator("#strip")).to_contain_text("No signal")

    def online(self) -> None:
        self.context.set_offline(False)

    @property
    def said(self) -> Locator:
        return self.page.locator("#said")

    @property
    def strip(self) -> Locator:
        return self.page.locator("#strip")

    def open_all(self) -> None:
        """Every part of the screen that is closed, also those inside others."""
        closed = self.page.locator("#field details:not([open]) > summary:visible")
        while closed.count():
            closed.first.click()

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).first.click()
        expect(self.said).to_contain_text("kept on this device")

    def waits_for_nothing(self) -> None:
        try:
            expect(self.strip).to_contain_text("Nothing waits on this device", timeout=30_000)
        except AssertionError as error:
            raise AssertionError(f"{self.kept()} {self.kept('photos')}") from error

    def start(self, day: dict[str, Any]) -> None:
        self.open(day)
        self.page.locator("#start").click()
        expect(self.page.get_by_role("heading", name="Out of service")).to_be_visible()

    def note_run(self, run: str, **typed: str) -> None:
        for name, text in typed.items():
            self.page.locator(f"#run-{run}-{name}").fill(text)
        if "solution_flow" in typed:
            self.page.locator(f"#run-{run}-flow_source").select_option("meter")
        self.page.locator(f"#keep-{run}").click()

    def read(self, label: str, value: str, temperature: str = "20.1") -> None:
        bottle = self.page.locator(f"section.bottle[aria-label='{label}']")
        before = bottle.locator("li.reading").count()
        bottle.get_by_label(f"{label}, new reading").fill(value)
        bottle.get_by_label("°C").fill(temperature)
        bottle.get_by_role("button", name="Keep the reading").click()
        expect(bottle.locator("li.reading")).to_have_count(before + 1)

    def day_on_server(self, day: dict[str, Any]) -> dict[str, Any]:
        """What the server has, asked beside the page."""
        answer = self.context.request.get(f"/field/days/{day['visit']}/")
        assert answer.ok, answer.status
        found: dict[str, Any] = answer.json()
        return found

    def kept(self, store: str = "entries") -> list[dict[str, Any]]:
        """What lies in the database of the page, read past the page's own code."""
        rows: list[dict[str, Any]] = self.page.evaluate(
            """async (store) => {
              const key = localStorage.getItem("itm-field-who");
              const db = await new Promise((done, failed) => {
                const asked = indexedDB.open("itm-field-" + key);
                asked.onsuccess = () => done(asked.result);
                asked.onerror = () => failed(asked.error);
              });
              const rows = await new Promise((done) => {
                const asked = db.transaction(store).objectStore(store).getAll();
                asked.onsuccess = () => done(asked.result);
              });
              db.close();
              return rows.map(({ blob, ...row }) => row);
            }""",
            store,
        )
        return rows


def samples(day: dict[str, Any], server: dict[str, Any]) -> list[str]:
    runs = dict(day["runs"])
    return sorted(
        bottle["label"]
        for bench in server["benches"]
        for bottle in bench["bottles"]
        if bottle["run"] in runs
    )
