"""Killed with -9 while it makes an archive: real processes on a database and a store of their own.

Wherever the worker is killed, nothing half is left, and the next drain makes the archive whole. By
the standard library: SHA-256 of the file, and what the ZIP says of itself.
"""

import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests import migrated
from tests.itm.archives.test_frozen import FORM_1

ROOT = Path(__file__).resolve().parents[3]
BEGIN = """
import django; django.setup()
from django.utils import timezone
"""
ASK = (
    BEGIN
    + """
import sys
from pathlib import Path
from itm.accounts.actor import acting, system
from itm.accounts.services import add_person
from itm.archives import services
from itm.archives.bringing import bring
from itm.archives.reading import opened
from itm.registry.models import Site
now = timezone.now()
with opened(Path(sys.argv[1])) as (archive, sha256):
    archive.check()
    bring(archive, sha256, at=now)
site = Site.objects.get()
member = add_person(
    by=system(now.date(), at=now), email="keeper@example.org", name="A keeper", role="manager",
    organisation=site.owner.name, kind="owner", password="a long and winding word")
services.ask(actor=acting(member, now.date()), site=site, at=now)
"""
)
KILL = """
import os, signal, sys
from django.core.files.storage import FileSystemStorage
from itm.core import making
def killed(*_):
    os.kill(os.getpid(), signal.SIGKILL)
where, begin = sys.argv[1], making.Progress.begin
def begun(self, step, of=0):
    begin(self, step, of)
    if step == where:
        killed()
making.Progress.begin = begun
def half(self, name, content):
    path = self.path(name)
    os.makedirs(os.path.dirname(path), exist_ok=True)
    with open(path, "wb") as file:
        file.write(content.read(1000))
        file.flush()
        os.fsync(file.fileno())
    killed()
if where == "half stored":
    FileSystemStorage._save = half
save = FileSystemStorage.save
def stored(self, name, content, max_length=None):
    save(self, name, content, max_length)
    killed()
if where == "stored":
    FileSystemStorage.save = stored
"""
DRAIN = """
from itm import worker
from itm.core import outbox
outbox.drain()
"""
LAPSED = """
from datetime import timedelta
from itm.core.outbox import Job
Job.objects.filter(done_at=None).update(
    leased_until=timezone.now() - timedelta(seconds=1), not_before=timezone.now())
"""


class House:
    """An installation in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.temporary = folder, folder / "tmp"
        self.temporary.mkdir(exist_ok=True)

    def run(self, script: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        left = {"DATABASE_URL", "REDIS_URL"}
        environment = {name: text for name, text in os.environ.items() if name not in left} | {
            "ITM_DATA": str(self.folder), "TMPDIR": str(self.temporary), "OUTBOX_NUDGE": "none",
            "DJANGO_SETTINGS_MODULE": "itm.settings",
        }  # fmt: skip
        return subprocess.run(
            [sys.executable, "-c", script, *arguments], cwd=ROOT, env=environment, text=True,
            capture_output=True, timeout=120, check=False,
        )  # fmt: skip

    def row(self) -> dict[str, Any]:
        with sqlite3.connect(self.folder / "itm.sqlite3") as connection:
            connection.row_factory = sqlite3.Row
            return dict(connection.execute("SELECT * FROM archives_sitearchive").fetchone())

    def stored(self) -> list[Path]:
        return [one for one in (self.folder / "files").glob("archives/*") if one.is_file()]


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory, django_db_setup: None) -> Path:
    """A site that came from a frozen archive, and an archive of it that nobody has made yet."""
    folder = tmp_path_factory.mktemp("house")
    copy = migrated.copy()
    if copy.exists():  # else the first script migrates
        shutil.copy(copy, folder / "itm.sqlite3")
    house = House(folder)
    done = house.run(BEGIN + "from django.core.management import call_command\n"
                     "call_command('migrate', verbosity=0)\n" + ASK, str(FORM_1))  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return folder


@pytest.mark.parametrize("where", ["rows", "files", "store", "half stored", "stored"])
def test_killed_anywhere_nothing_half_is_left_and_the_next_drain_makes_it(
    asked: Path, tmp_path: Path, where: str
) -> None:
    shutil.copytree(asked, tmp_path / "house")
    house = House(tmp_path / "house")
    killed = house.run(BEGIN + KILL + DRAIN, where)
    assert killed.returncode == -signal.SIGKILL, killed.stderr[-2000:]
    assert house.row()["state"] == "making"
    assert list(house.temporary.iterdir()) == []
    # What is in the store already is known to its row by name.
    assert [one.name for one in house.stored()] == (
        [Path(house.row()["file"]).name] if where.endswith("stored") else []
    )
    done = house.run(BEGIN + LAPSED + DRAIN)
    assert done.returncode == 0, done.stderr[-2000:]
    row = house.row()
    assert row["state"] == "ready", row
    [made] = house.stored()
    assert made.name == Path(row["file"]).name
    assert hashlib.sha256(made.read_bytes()).hexdigest() == row["sha256"]
    with zipfile.ZipFile(made) as file:
        assert file.testzip() is None
        assert "manifest.json" in file.namelist()
    assert list(house.temporary.iterdir()) == []
