"""The migrated database of SQLite, kept between runs.

To migrate takes most of a short run, and gives the same tables as long as the files that say so are
the same. So the first run keeps them in the folder of data, and later ones begin from the copy.
Django still looks for migrations to apply, and the guards are laid anew.
"""

import hashlib
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import django
from django.conf import settings
from django.db import connection
from django.db.backends.signals import connection_created

ROOT = Path(__file__).resolve().parent.parent
# What migrations are and what they read: their own files, the programmes they bring and how.
SAYS_SO = (
    "itm/*/migrations/*.py",
    "itm/*/loading.py",
    "fixtures/programmes/*",
    "fixtures/findings/*",
    "fixtures/retention/*",
)


def digest() -> str:
    """SHA-256 over what decides how the migrated database looks."""
    seen = hashlib.sha256(django.__version__.encode())
    for pattern in SAYS_SO:
        for path in sorted(ROOT.glob(pattern)):
            seen.update(str(path.relative_to(ROOT)).encode() + b"\0" + path.read_bytes())
    return seen.hexdigest()


def copy() -> Path:
    """Where the copy lies, or will lie, for the files as they are."""
    folder = settings.DATA_DIR / "tests"
    folder.mkdir(exist_ok=True)
    return Path(folder / f"{digest()}.sqlite3")


@contextmanager
def begun_from(copy: Path) -> Iterator[None]:
    """The first connection to the empty database in memory finds what the copy holds."""

    def fill(connection: Any, **_: Any) -> None:
        into = connection.connection
        if not into.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
            kept = sqlite3.connect(copy)
            kept.backup(into)
            kept.close()

    if connection.vendor == "sqlite" and copy.exists():
        connection_created.connect(fill)
    try:
        yield
    finally:
        connection_created.disconnect(fill)


def keep(copy: Path) -> None:
    """Keep the migrated database for the next run, in one piece or not at all."""
    if connection.vendor != "sqlite" or copy.exists():
        return
    connection.ensure_connection()
    for old in copy.parent.glob("*.sqlite3"):
        old.unlink()
    half = copy.with_suffix(f".{os.getpid()}")
    into = sqlite3.connect(half)
    connection.connection.backup(into)
    into.close()
    half.rename(copy)
