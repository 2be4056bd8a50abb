"""The processes of docker-compose.yml on the database of the test, started by the commands in it.

The database is the PostgreSQL that DATABASE_URL names, the broker the Redis of REDIS_URL. What runs
is ended again before the database is emptied.
"""

import os
import re
import shlex
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.parse import quote, urlencode
from urllib.request import HTTPCookieProcessor, Request, build_opener, urlopen

import pytest
import yaml
from django.conf import settings as django_settings
from django.db import connection
from django.urls import reverse

from tests.factories import PASSWORD

ROOT = Path(__file__).resolve().parents[2]
COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
PATIENCE = 100.0  # seconds; beat sweeps once a minute


def until(found: Callable[[], Any], what: str, seconds: float = PATIENCE) -> Any:
    """What `found` gives as soon as it gives something."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if got := found():
            return got
        time.sleep(0.3)
    raise AssertionError(f"After {seconds:.0f} s still not: {what}")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


class Processes:
    """Starts services of the compose file and ends those that it started."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.port = free_port()

    def environment(self, broker: str) -> dict[str, str]:
        own = connection.settings_dict
        user, host = quote(own["USER"] or "root"), own["HOST"] or "127.0.0.1"
        return os.environ | {
            "DATABASE_URL": f"postgres://{user}@{host}:{own['PORT'] or 5432}/{own['NAME']}",
            "REDIS_URL": broker,
            "OUTBOX_NUDGE": "celery",
            "SECRET_KEY": django_settings.SECRET_KEY,
            "ITM_DATA": str(self.folder),
            "ALLOWED_HOSTS": "127.0.0.1",
        }

    def start(self, service: str, broker: str | None = None) -> None:
        command = COMPOSE["services"][service]["command"]
        command = command.replace("0.0.0.0:8000", f"127.0.0.1:{self.port}")
        command = command.replace("/tmp/beat", str(self.folder / "beat"))
        with (self.folder / f"{service}.log").open("ab") as log:
            self.running[service] = subprocess.Popen(
                shlex.split(command), cwd=ROOT, stdout=log, stderr=subprocess.STDOUT,
                env=self.environment(broker or django_settings.REDIS_URL), start_new_session=True,
            )  # fmt: skip

    def said(self, service: str, words: str) -> bool:
        assert self.running[service].poll() is None, self.log(service)
        return words in self.log(service)

    def log(self, service: str) -> str:
        return (self.folder / f"{service}.log").read_text(errors="replace")

    def answers(self) -> bool:
        assert self.running["web"].poll() is None, self.log("web")
        try:
            with urlopen(f"http://127.0.0.1:{self.port}/readyz", timeout=5):
                return True
        except (URLError, TimeoutError, ConnectionError):
            return False

    def end(self) -> None:
        for process in self.running.values():
            os.killpg(process.pid, signal.SIGTERM)
        for process in self.running.values():
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait(timeout=10)


class Browser:
    """Just enough of one: cookies, and the token that every form carries."""

    def __init__(self, port: int) -> None:
        self.base = f"http://127.0.0.1:{port}"
        self.open = build_opener(HTTPCookieProcessor(CookieJar())).open

    def get(self, path: str) -> str:
        with self.open(self.base + path, timeout=30) as answer:
            page: str = answer.read().decode()
        return page

    def post(self, path: str, **entries: str) -> str:
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', self.get(path))
        assert token, f"no form on {path}"
        body = urlencode({"csrfmiddlewaretoken": token[1], **entries}).encode()
        request = Request(self.base + path, data=body, headers={"Referer": self.base + path})
        with self.open(request, timeout=30) as answer:
            page: str = answer.read().decode()
        return page

    def sign_in(self, email: str) -> None:
        page = self.post(reverse("sign_in"), username=email, password=PASSWORD)
        assert "Sign out" in page


@pytest.fixture
def processes(transactional_db: None, tmp_path: Path) -> Iterator[Processes]:
    assert connection.vendor == "postgresql", "DATABASE_URL has to name a PostgreSQL database."
    own = Processes(tmp_path)
    yield own
    own.end()
