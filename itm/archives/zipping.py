"""A ZIP that is written from front to back, with the digest and size of each file in it.

Nothing is held in memory but one chunk and the list of files. The same content gives the same
bytes: every entry has one fixed date, because the archive's own moment stands in its manifest.
"""

import hashlib
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import IO, Any, Self

EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest that the format can say
READABLE = 0o644 << 16
CHUNK = 1 << 16


@dataclass(frozen=True)
class Entry:
    path: str
    size: int
    sha256: str

    def told(self) -> dict[str, Any]:
        return asdict(self)


Write = Callable[[bytes], None]


class Sink:
    """Where an archive goes. This one keeps digests alone: it says what an archive would hold."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    @contextmanager
    def member(self, path: str, *, packed: bool = True) -> Iterator[Write]:
        digest, size = hashlib.sha256(), 0
        with self._open(path, packed=packed) as out:

            def write(data: bytes) -> None:
                nonlocal size
                digest.update(data)
                size += len(data)
                out(data)

            yield write
        self.entries.append(Entry(path, size, digest.hexdigest()))

    @contextmanager
    def _open(self, path: str, *, packed: bool) -> Iterator[Write]:
        yield lambda data: None

    def add(self, path: str, parts: Iterable[bytes], *, packed: bool = True) -> Entry:
        with self.member(path, packed=packed) as write:
            for part in parts:
                write(part)
        return self.entries[-1]


class ZipSink(Sink):
    """The file itself. Photos and PDFs are packed already, so they are stored as they are."""

    def __init__(self, file: IO[bytes]) -> None:
        super().__init__()
        self._zip = zipfile.ZipFile(file, "w", compression=zipfile.ZIP_DEFLATED)

    @contextmanager
    def _open(self, path: str, *, packed: bool) -> Iterator[Write]:
        entry = zipfile.ZipInfo(path, EPOCH)
        entry.external_attr = READABLE
        entry.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        with self._zip.open(entry, "w", force_zip64=True) as out:
            yield lambda data: (out.write(data), None)[1]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._zip.close()


def chunks(file: Any) -> Iterator[bytes]:
    while part := file.read(CHUNK):
        yield part
