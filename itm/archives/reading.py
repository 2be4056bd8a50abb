"""An archive that came from somewhere: looked at as a stranger's file, before anything is taken.

Every refusal is a sentence that names the file or line. Nothing is unpacked to the disk, no size
that the archive states is believed before it was counted, and no more is read than it states.
"""

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from django.utils.dateparse import parse_datetime

from itm.archives.tables import TABLES
from itm.archives.writing import FORM, KIND
from itm.archives.zipping import CHUNK, chunks
from itm.core.errors import Refused

WORD = r"[A-Za-z0-9][A-Za-z0-9_-]*"
PATH = re.compile(rf"{WORD}(?:/{WORD})?(?:\.[A-Za-z0-9]{{1,8}})?")
MANIFEST = "manifest.json"
MOST_FILES = 1_000_000  # own choice: a photo a minute for two years
MOST_MANIFEST = 256 << 20  # bytes, for as many files
# Rows pack to a twentieth or thirtieth; deflate cannot pack below a thousandth. Own choice.
MOST_PACKED = 200
SMALL = 64 << 20  # bytes: below this, how well it is packed does not matter
MOST_LINE = 64 << 20  # bytes of one row; an evaluation has some hundred thousand
# Without these there is no site; what later releases added an older archive does not have.
OLDEST = {"data/sites.jsonl", "data/organisations.jsonl", "data/history.jsonl"}
DATA = {f"data/{table.name}.jsonl" for table in TABLES} | {"data/history.jsonl"}
DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError)


@dataclass(frozen=True)
class Noted:
    """What the manifest says of one file."""

    size: int
    sha256: str


class Archive:
    """An archive whose list of files was checked. `check` reads every byte of it once."""

    def __init__(self, file: IO[bytes], size: int) -> None:
        try:
            self._zip = zipfile.ZipFile(file)
        except DAMAGED as wrong:
            raise Refused(
                "no_archive",
                "This is no archive, or its end is missing: it may not have come over whole. "
                "Fetch it once more, and compare its size with the one on the page.",
            ) from wrong
        entries = self._entries(size)
        self.manifest, self.manifest_sha256 = self._manifest(entries)
        self.files = self._listed(entries)
        self.taken_at: datetime = self._moment()

    def _entries(self, size: int) -> dict[str, zipfile.ZipInfo]:
        found: dict[str, zipfile.ZipInfo] = {}
        every = self._zip.infolist()
        if len(every) > MOST_FILES:
            raise Refused("too_many", f"More than {MOST_FILES:,} files are in it.")
        for entry in every:
            name = entry.orig_filename
            if not PATH.fullmatch(name) or name != entry.filename or len(name) > 150:
                raise Refused(
                    "odd_path",
                    f"“{ascii(name)[1:-1][:80]}” is no name that an archive of a site has. "
                    "Somebody else packed this file.",
                )
            if name in found:
                raise Refused("twice", f"“{name}” is in it twice.")
            if entry.flag_bits & 0x1 or entry.compress_type not in (
                zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED,
            ):  # fmt: skip
                raise Refused("odd_packing", f"“{name}” is packed in a way that no archive has.")
            found[name] = entry
        unpacked = sum(entry.file_size for entry in every)
        if unpacked > max(SMALL, MOST_PACKED * size):
            raise Refused(
                "too_large",
                f"It would unpack to {unpacked / 1e9:,.1f} GB, more than {MOST_PACKED} times its "
                "own size. No archive of a site does that; nothing was unpacked.",
            )
        return found

    def _manifest(self, entries: dict[str, zipfile.ZipInfo]) -> tuple[dict[str, Any], str]:
        entry = entries.get(MANIFEST)
        if entry is None:
            raise Refused("no_manifest", f"There is no {MANIFEST} in it: this is no archive.")
        if entry.file_size > MOST_MANIFEST:
            raise Refused("too_large", f"Its {MANIFEST} is larger than any that was ever made.")
        data = b"".join(self._bytes(MANIFEST, entry.file_size))
        try:
            told = json.loads(data)
            kind, form = told["kind"], told["form"]
        except (ValueError, KeyError, TypeError, RecursionError) as wrong:
            raise Refused("bad_manifest", f"Its {MANIFEST} cannot be read.") from wrong
        if kind != KIND:
            raise Refused("other_kind", "Its manifest says that it is something else.")
        if form != FORM:
            raise Refused(
                "other_form",
                f"It has form {form!r}, and this program reads form {FORM}. Bring the program up "
                "to the release that made the archive, or a later one.",
            )
        return told, hashlib.sha256(data).hexdigest()

    def _listed(self, entries: dict[str, zipfile.ZipInfo]) -> dict[str, Noted]:
        try:
            listed = {
                one["path"]: Noted(int(one["size"]), str(one["sha256"]))
                for one in self.manifest["files"]
            }
            self.counts: dict[str, int] = {k: int(v) for k, v in self.manifest["counts"].items()}
        except (KeyError, TypeError, ValueError, AttributeError) as wrong:
            raise Refused(
                "bad_manifest", f"The list of files in its {MANIFEST} is broken."
            ) from wrong
        there = set(entries) - {MANIFEST}
        if lost := sorted(set(listed) - there):
            raise Refused("lost_file", f"{len(lost)} of its files are missing, first “{lost[0]}”.")
        if added := sorted(there - set(listed)):
            raise Refused(
                "added_file", f"{len(added)} files in it are not in its list, first “{added[0]}”."
            )
        if unknown := {name for name in listed if name.startswith("data/")} - DATA:
            raise Refused(
                "other_tables",
                f"“{min(unknown)}” is a table that this program does not know, and it would be "
                "lost. Bring the program up to the release that made the archive, or a later one.",
            )
        if lost := sorted(OLDEST - set(listed)):
            raise Refused("lost_file", f"There is no “{lost[0]}” in it: this is no whole archive.")
        for name, noted in listed.items():
            if entries[name].file_size != noted.size:
                raise Refused("altered", _altered(name))
        return listed

    def _moment(self) -> datetime:
        said = self.manifest.get("taken_at")
        found = parse_datetime(said) if isinstance(said, str) else None
        if found is None or found.tzinfo is None:
            raise Refused("bad_manifest", "Its manifest does not say which moment it shows.")
        return found

    def check(self) -> None:
        """Count and digest every file. Refused altered, damaged."""
        for name, noted in self.files.items():
            digest = hashlib.sha256()
            for part in self._bytes(name, noted.size):
                digest.update(part)
            if digest.hexdigest() != noted.sha256:
                raise Refused("altered", _altered(name))

    def _bytes(self, name: str, size: int) -> Iterator[bytes]:
        """No more than was stated, in chunks. Refused damaged, altered."""
        left = size
        try:
            with self._zip.open(name) as file:
                for part in chunks(file):
                    left -= len(part)
                    if left < 0:
                        raise Refused("altered", _altered(name))
                    yield part
        except DAMAGED as wrong:
            raise Refused("damaged", f"“{name}” is damaged and cannot be unpacked.") from wrong
        if left:
            raise Refused("altered", _altered(name))

    def read(self, name: str) -> bytes:
        """A whole file that was checked: the bytes of one record."""
        return b"".join(self._bytes(name, self.files[name].size))

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        with self._zip.open(name) as file:
            yield file

    def rows(self, table: str) -> Iterator[tuple[str, dict[str, Any]]]:
        """Each row with its place, such as “data/tanks.jsonl, line 3”. Refused bad_row."""
        name = f"data/{table}.jsonl"
        if name not in self.files:
            return  # of an older release, which had no such table
        with self._zip.open(name) as file:
            number = 0
            while data := file.readline(MOST_LINE):
                number += 1
                place = f"{name}, line {number}"
                try:
                    row = json.loads(data, parse_constant=_no_number)
                except (ValueError, RecursionError) as wrong:
                    raise Refused("bad_row", f"{place}: this is no row in JSON.") from wrong
                if not isinstance(row, dict):
                    raise Refused("bad_row", f"{place}: this is no row.")
                yield place, row


def _no_number(text: str) -> Any:
    raise ValueError(text)


def _altered(name: str) -> str:
    return (
        f"“{name}” is not the file that was put in: its bytes were changed, or it did not come "
        "over whole. Nothing of the archive was taken in."
    )


@contextmanager
def opened(path: Path) -> Iterator[tuple[Archive, str]]:
    """The archive and the SHA-256 of the whole file. Refused no_file and what `Archive` refuses."""
    try:
        with path.open("rb") as file:
            digest = hashlib.sha256()
            while part := file.read(CHUNK):
                digest.update(part)
            size = file.tell()
            file.seek(0)
            yield Archive(file, size), digest.hexdigest()
    except OSError as wrong:
        raise Refused("no_file", f"{path} cannot be read: {wrong.strerror}.") from wrong
