"""What a file is, asked of its bytes and never of its name."""

import hashlib
import io
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import PurePath
from threading import Lock
from typing import Any, BinaryIO

from PIL import Image, ImageFile, ImageOps

from itm.core.errors import Gone, Refused

LARGEST = 15_000_000  # bytes: a photo of any phone, a scanned certificate
MOST_PIXELS = 100_000_000  # more would take the server's memory for one picture
PREVIEW_SIDE = 480  # pixels
SUFFIXES = {
    "image/jpeg": (".jpg", ".jpeg"),
    "image/png": (".png",),
    "image/webp": (".webp",),
    "application/pdf": (".pdf",),
}
# Of tables, which only an import reads: nobody attaches one by hand.
TABLES = {
    "csv": ("text/csv", ".csv"),
    "xlsx": ("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", ".xlsx"),
}
STRICT = Lock()  # one thread at a time changes how the process reads pictures
# How a PDF ends may be followed by what a mailer or scanner added.
PDF_TAIL = 1024


@dataclass(frozen=True)
class Inspected:
    """A file that was found to be what it is allowed to be."""

    name: str
    content_type: str
    size: int
    sha256: str
    preview: bytes  # empty for a PDF

    @property
    def suffix(self) -> str:
        tables = dict(TABLES.values())
        return tables.get(self.content_type) or SUFFIXES[self.content_type][0]


def inspect(file: BinaryIO, name: str) -> Inspected:
    """Refused empty_file, too_large, unknown_type, broken_picture, too_many_pixels, broken_pdf."""
    shown = clean_name(name)
    data = file.read(LARGEST + 1)
    if not data:
        raise Refused("empty_file", f"“{shown}” is empty.", "chosen")
    if len(data) > LARGEST:
        raise Refused("too_large", too_large(shown), "chosen")
    content_type = type_of(data)
    if content_type is None:
        raise Refused(
            "unknown_type",
            f"“{shown}” is neither a JPEG, PNG or WebP picture nor a PDF, whatever its name says.",
            "chosen",
        )
    preview = b""
    if content_type == "application/pdf":
        _check_pdf(data, shown)
    else:
        preview = _preview(data, shown)
    return Inspected(
        name=with_suffix(shown, content_type),
        content_type=content_type,
        size=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
        preview=preview,
    )


def too_large(name: str) -> str:
    return f"“{name}” is larger than {LARGEST // 1_000_000} MB. Choose a smaller version of it."


def type_of(data: bytes) -> str | None:
    """By the first bytes, as the formats' own standards fix them."""
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"  # ISO/IEC 10918-1: start of image, then the next marker
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"  # ISO/IEC 15948, 5.2
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"  # RFC 9649, 2.3
    if data.startswith(b"%PDF-"):
        return "application/pdf"  # ISO 32000-1, 7.5.2
    return None


def _check_pdf(data: bytes, shown: str) -> None:
    if b"%%EOF" not in data[-PDF_TAIL:]:
        raise Refused("broken_pdf", f"“{shown}” is cut off: a PDF ends otherwise.", "chosen")


def _preview(data: bytes, shown: str) -> bytes:
    """A small JPEG, upright. Making it decodes the whole picture, so a broken one is found here."""
    broken = Refused("broken_picture", f"“{shown}” cannot be read as a picture.", "chosen")
    try:
        picture = Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP"))
        if picture.width * picture.height > MOST_PIXELS:
            raise Refused(
                "too_many_pixels",
                f"“{shown}” has {picture.width} × {picture.height} pixels; at most "
                f"{MOST_PIXELS // 1_000_000} million are read.",
                "chosen",
            )
        with cut_off_is_broken():
            picture.load()
        upright = ImageOps.exif_transpose(picture)
        upright.thumbnail((PREVIEW_SIDE, PREVIEW_SIDE))
        out = io.BytesIO()
        # Whatever is transparent gets white paper behind it; the metadata stays behind.
        flat = Image.new("RGB", upright.size, "white")
        alpha = upright.convert("RGBA")
        flat.paste(alpha, mask=alpha)
        flat.save(out, "JPEG", quality=80)
    except Refused:
        raise
    except (OSError, SyntaxError, ValueError, TypeError, EOFError, MemoryError) as error:
        raise broken from error
    except Image.DecompressionBombError as error:
        raise broken from error
    return out.getvalue()


@contextmanager
def cut_off_is_broken() -> Iterator[None]:
    """The renderer of the reports tells the imaging library, for all of the process, to fill up
    pictures that end too early; a file that somebody hands in must be whole."""
    with STRICT:
        lenient = ImageFile.LOAD_TRUNCATED_IMAGES
        ImageFile.LOAD_TRUNCATED_IMAGES = False
        try:
            yield
        finally:
            ImageFile.LOAD_TRUNCATED_IMAGES = lenient


def clean_name(name: str) -> str:
    """The name without its folder and without characters that hide or turn it round."""
    bare = name.replace("\\", "/").rsplit("/", 1)[-1]
    visible = "".join(c for c in bare if unicodedata.category(c)[0] != "C")
    return " ".join(visible.split())[:100] or "file"


def with_suffix(name: str, content_type: str) -> str:
    """“scan” and “scan.exe” that are a PDF come back as “scan.pdf” and “scan.exe.pdf”."""
    suffixes = SUFFIXES[content_type]
    return name if PurePath(name).suffix.lower() in suffixes else f"{name}{suffixes[0]}"


def opened(file: Any, name: str) -> Any:
    """A stored file, to be read by a person or a program. Raises Gone where the store has lost
    it."""
    try:
        return file.open("rb")
    except OSError as lost:
        raise Gone(
            f"The file “{name}” is no longer in the store, and nobody decided to let it go. What "
            "is noted of it stays. Tell whoever runs this server: a backup may hold it, and so "
            "may an archive of the site."
        ) from lost
