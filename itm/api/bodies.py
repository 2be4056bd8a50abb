"""JSON that comes in: within its size, and nothing in it that a record could not keep."""

import hashlib
import json
from collections.abc import Mapping
from typing import IO, Any

from django.core.files.uploadedfile import UploadedFile
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.request import Request

from itm.api.problems import Problem, fault, pointer
from itm.registry.files import LARGEST as LARGEST_FILE
from itm.registry.files import too_large

LARGEST = 1_000_000  # bytes, where a view says nothing else
LARGEST_WITH_FILES = LARGEST_FILE + LARGEST  # one file and what is said of it


class Json(BaseParser):
    """Every body here. Refuses what is too large before it is read, and what JSON allows but a
    database or a digest does not: NaN, keys given twice, zero bytes, halves of characters."""

    media_type = "application/json"

    def parse(
        self, stream: IO[bytes], media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:  # fmt: skip
        context = parser_context or {}
        most = getattr(context.get("view"), "largest", LARGEST)
        said = context["request"].META.get("CONTENT_LENGTH") or "0"
        if said.isdecimal() and int(said) > most:
            raise _too_large(most)
        data = stream.read(most + 1)
        if len(data) > most:
            raise _too_large(most)
        return read(data)


class Multipart(MultiPartParser):
    """A body with files. Its length is looked at before anything of it is kept; what is larger than
    one file may be is dropped while it arrives (`FILE_UPLOAD_HANDLERS`)."""

    def parse(
        self, stream: IO[bytes], media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:  # fmt: skip
        context: Any = parser_context or {}
        most = getattr(context.get("view"), "largest_with_files", LARGEST_WITH_FILES)
        said = context["request"].META.get("CONTENT_LENGTH") or "0"
        if not said.isdecimal() or int(said) > most:
            raise _too_large(most)
        return super().parse(stream, media_type, parser_context)


def file_in(request: Any, name: str) -> UploadedFile:
    """Raises Problem file_missing, too_large."""
    if (found := request.FILES.get(name)) is not None:
        return found
    if getattr(request._request, "refused_files", ()):  # named by the handler that dropped them
        said = f"A file may have {LARGEST_FILE // 1_000_000} MB at most; make the picture smaller."
        raise Problem(413, "too_large", said, [fault(pointer(name), "too_large", said)])
    said = f"Send the file as the part “{name}” of multipart/form-data, with a file name."
    raise Problem(422, "file_missing", said, [fault(pointer(name), "file_missing", said)])


def parted(request: Request, part: str, what: str) -> tuple[Any, MultiValueDict[str, Any]]:
    """The JSON of a request, and the files that came with it by the names of their parts: where
    there are files, the JSON is the part `part`.

    Raises Problem too_large, and unknown_part or, by the name of the part, inspection_missing and
    the like; and what `read` raises.
    """
    if not isinstance(request.data, QueryDict):
        return request.data, MultiValueDict()
    files = request.FILES
    dropped: list[str] = getattr(request._request, "refused_files", [])
    if dropped:  # named by the handler that dropped them
        said = too_large(dropped[0])
        raise Problem(413, "too_large", said, [fault("", "too_large", said)])
    texts = {name: text for name, text in request.data.items() if name not in files}
    if not isinstance(text := texts.pop(part, None), str):
        said = f"Send {what} as JSON in the part “{part}”, without a file name."
        raise Problem(422, f"{part}_missing", said, [fault("", f"{part}_missing", said)])
    if texts:
        said = f"“{min(texts)[:40]}” is no part known here: beside “{part}” there are files alone."
        raise Problem(422, "unknown_part", said, [fault("", "unknown_part", said)])
    return read(text.encode()), files


def digest_of(file: Any) -> str:
    """SHA-256 of a file that came, which is left at its beginning."""
    file.seek(0)
    found = hashlib.file_digest(file.file, "sha256").hexdigest()
    file.seek(0)
    return found


def _too_large(most: int) -> Problem:
    return Problem(
        413, "too_large", f"This is more than {most:,} bytes, the most that this address takes."
    )


def read(data: bytes) -> Any:
    """Raises Problem not_utf8, not_json, nested_too_deep, broken_text."""
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        raise Problem(400, "not_utf8", f"Byte {error.start} is not UTF-8 text.") from error
    try:
        body = json.loads(text, parse_constant=_no_number, object_pairs_hook=_once_each)
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise Problem(400, "not_json", f"This is not JSON from {place} on.") from error
    except RecursionError as error:
        raise Problem(400, "nested_too_deep", "This is nested too deep to be read.") from error
    except ValueError as error:
        raise Problem(400, "not_json", "A number here is too long to be read.") from error
    _whole(body)
    return body


def _no_number(name: str) -> None:
    raise Problem(400, "not_json", f"{name} is no number of JSON.")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise Problem(400, "repeated_key", f"The key {json.dumps(twice)} is given twice.")
    return out


def _whole(body: Any) -> None:
    """No text that a database refuses. By hand and not by recursion, however deep it is."""
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), body)]
    while waiting:
        steps, value = waiting.pop()
        if isinstance(value, str):
            _text(value, steps)
        elif isinstance(value, dict):
            for name in value:
                _text(name, steps)
            waiting += [((*steps, name), inner) for name, inner in value.items()]
        elif isinstance(value, list):
            waiting += [((*steps, place), inner) for place, inner in enumerate(value)]


def _text(value: str, steps: tuple[str | int, ...]) -> None:
    if value.isascii() and "\0" not in value:
        return
    if "\0" in value or any("\ud800" <= char <= "\udfff" for char in value):
        said = "This text holds a zero byte or half of a character; leave it out."
        raise Problem(400, "broken_text", said, [fault(pointer(*steps), "broken_text", said)])
