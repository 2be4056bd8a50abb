"""A file is what its bytes say.

First bytes by ISO/IEC 10918-1 (JPEG), ISO/IEC 15948 (PNG), RFC 9649 (WebP), ISO 32000-1 (PDF), as
remembered; the pictures are made by Pillow.
"""

import hashlib
import io
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageFile

from itm.core.errors import Refused
from itm.registry import files
from itm.registry.files import LARGEST, PREVIEW_SIDE, clean_name, inspect
from tests.itm.registry.pictures import PDF, picture


def looked_at(data: bytes, name: str = "photo") -> files.Inspected:
    return inspect(io.BytesIO(data), name)


@pytest.mark.parametrize(
    ("data", "content_type", "name"),
    [
        (picture("JPEG"), "image/jpeg", "photo.jpg"),
        (picture("PNG"), "image/png", "photo.png"),
        (picture("WEBP"), "image/webp", "photo.webp"),
        (PDF, "application/pdf", "photo.pdf"),
    ],
)
def test_type_comes_from_the_bytes_and_the_name_follows_it(
    data: bytes, content_type: str, name: str
) -> None:
    found = looked_at(data)
    assert (found.content_type, found.name, found.size) == (content_type, name, len(data))
    assert found.sha256 == hashlib.sha256(data).hexdigest()
    assert looked_at(data, "PHOTO.EXE").name == f"PHOTO.EXE{found.suffix}"


@pytest.mark.parametrize(
    ("code", "data"),
    [
        ("empty_file", b""),
        ("too_large", b"\xff\xd8\xff" + bytes(LARGEST)),
        ("unknown_type", b"MZ\x90\x00 this program cannot be run"),
        ("unknown_type", b"<html><script>alert(1)</script>"),
        ("unknown_type", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"),
        ("unknown_type", b"GIF89a" + bytes(20)),
        ("unknown_type", b"PK\x03\x04" + bytes(20)),
        ("broken_picture", picture("PNG")[:-200]),
        ("broken_picture", picture("JPEG")[:300]),
        ("broken_picture", b"\xff\xd8\xff<script>alert(1)</script>"),
        ("broken_picture", b"RIFF\x10\x00\x00\x00WEBPVP8 nothing"),
        ("broken_pdf", PDF[:-10]),
    ],
)
@pytest.mark.parametrize("lenient", [False, True])  # the renderer of the reports sets it
def test_file_that_is_not_what_it_claims_is_refused_by_name(
    code: str, data: bytes, lenient: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", lenient)
    with pytest.raises(Refused) as refused:
        looked_at(data, "photo.jpg")
    assert refused.value.code == code
    assert "“photo.jpg”" in refused.value.sentence
    assert refused.value.place == "chosen"


def test_picture_of_too_many_pixels_is_refused_before_it_is_decoded(monkeypatch) -> None:
    monkeypatch.setattr(files, "MOST_PIXELS", 640 * 480 - 1)
    with pytest.raises(Refused) as refused:
        looked_at(picture())
    assert refused.value.code == "too_many_pixels"


def test_preview_is_small_upright_and_without_the_metadata_of_the_phone() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # held on its side, Exif 2.32: orientation
    exif[0x010E] = "where it was taken"
    data = picture("JPEG", (1200, 800), exif=exif)
    shown = Image.open(io.BytesIO(looked_at(data).preview))
    assert shown.format == "JPEG"
    assert shown.size == (PREVIEW_SIDE * 800 // 1200, PREVIEW_SIDE)
    assert not shown.getexif()
    assert b"where it was taken" not in looked_at(data).preview


@pytest.mark.parametrize(
    ("given_name", "clean"),
    [
        ("../../etc/passwd.png", "passwd.png"),
        ("C:\\photos\\valve.png", "valve.png"),
        ("gpj.\u202eexe", "gpj.exe"),
        ("two\r\nlines\x00.png", "twolines.png"),
        ("", "file"),
    ],
)
def test_name_loses_its_folder_and_what_would_hide_or_turn_it(given_name: str, clean: str) -> None:
    assert clean_name(given_name) == clean


SMALL = {kind: picture(kind, (40, 30)) for kind in ("PNG", "JPEG", "WEBP")}
HEADS = [b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x00\x01\x00\x00WEBP", b"%PDF-"]


@given(st.binary(max_size=300), st.sampled_from(HEADS))
def test_any_bytes_are_taken_or_refused_and_nothing_else_happens(tail: bytes, head: bytes) -> None:
    with suppress(Refused):
        assert looked_at(head + tail).size == len(head + tail)


@given(st.data())
def test_picture_with_any_byte_changed_is_taken_or_refused(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(["PNG", "JPEG", "WEBP"]))
    whole = bytearray(SMALL[kind])
    whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    with suppress(Refused):
        assert looked_at(bytes(whole)).size == len(whole)
