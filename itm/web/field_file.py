"""The last resort of field capture: what a device could not send, handed in as a file."""

import base64
import binascii
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.doors import entries, papers, photos
from itm.doors.entries import WAITS
from itm.doors.entry import LONGEST, Answer
from itm.doors.verbs import VERBS
from itm.registry.files import clean_name
from itm.web.field import MOST_ENTRIES, in_the_field
from itm.web.guard import signed_in
from itm.web.uploading import was_dropped

KIND, FORM = "field entries", 1
STANDS = {
    "taken": "taken",
    "taken_before": "already there, nothing was added",
    "refused": "not taken",
    "crossed": "not taken: changed by somebody else meanwhile",
    "forbidden": "not taken: not yours to enter",
    "not_found": "not taken: what it belongs to is not here",
}


@dataclass(frozen=True)
class Line:
    """One entry of the file and what became of it."""

    what: str
    at: str
    stands: str
    sentence: str


@signed_in
@require_http_methods(["GET", "POST"])
def field_file(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        return render(request, "field/file.html")
    try:
        document = _document(request)
    except Refused as refused:
        return render(request, "field/file.html", {"wrong": refused.sentence}, status=422)
    actor, at = in_the_field(request), timezone.now()
    found = [*_entries(actor, document["entries"], at), *_papers(actor, document, at),
             *_photos(actor, document, at)]  # fmt: skip
    # An inspection names its photos, which come after the entries: what waited goes once more.
    asked = document["entries"]
    late = [number for number in range(len(asked)) if found[number][1].code == WAITS]
    again = _entries(actor, [asked[number] for number in late], at)
    for number, answer in zip(late, again, strict=True):
        found[number] = answer
    lines = [line for line, _ in found]
    taken = sum(answer.taken for _, answer in found)
    context = {
        "answers": lines, "taken": taken, "whose": document["person"].get("name", ""),
        "typed": _typed(document),
    }  # fmt: skip
    return render(request, "field/file.html", context, status=200 if taken == len(found) else 422)


def _document(request: HttpRequest) -> dict[str, Any]:
    """Raises Refused no_file, too_large, no_field_file."""
    if was_dropped(request):
        raise Refused("too_large", "The file is too large for this page.", "file")
    file = request.FILES.get("file")
    if file is None:
        raise Refused("no_file", "Choose the file that the device saved.", "file")
    wrong = Refused(
        "no_field_file",
        "This is no file of field capture: it is saved on the device, on the page “Only on this "
        "device”, and its name begins with field-entries.",
        "file",
    )
    try:
        read = json.load(file)
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(read, dict) or read.get("kind") != KIND or read.get("form") != FORM:
        raise wrong
    lists = [read.setdefault(name, []) for name in ("entries", "papers", "photos", "typed")]
    if not all(isinstance(one, list) for one in lists) or not isinstance(read.get("person"), dict):
        raise wrong
    return read


def _entries(actor: Actor, asked: list[Any], at: datetime) -> Iterator[tuple[Line, Answer]]:
    """The device's clock at the moment of saving is not its clock now, so it is not compared."""
    for start in range(0, len(asked), MOST_ENTRIES):
        part = asked[start : start + MOST_ENTRIES]
        answers = entries.take(actor=actor, entries=part, device_now=None, at=at)
        for raw, answer in zip(part, answers, strict=True):
            known = raw if isinstance(raw, dict) else {}
            verb = VERBS.get(str(known.get("verb")))
            yield _line(verb.means if verb else "unknown", known, answer), answer


def _papers(actor: Actor, document: dict[str, Any], at: datetime) -> Iterator[tuple[Line, Answer]]:
    for raw in document["papers"]:
        known = raw if isinstance(raw, dict) else {}
        answer = papers.take_paper(
            actor=actor, key=known.get("key"), of=known.get("of"), put=known.get("put"),
            file=io.BytesIO(_bytes(known)), name=clean_name(str(known.get("name") or "report")),
            kept_at=known.get("at"), at=at,
        )  # fmt: skip
        yield _line("A laboratory’s report.", known, answer), answer


def _typed(document: dict[str, Any]) -> list[str]:
    """What was typed on the device and never kept there: no entry, so it is shown and not taken."""
    texts = [one.get("text") for one in document["typed"] if isinstance(one, dict)]
    return [text[:LONGEST] for text in texts if isinstance(text, str)]


def _bytes(raw: dict[str, Any]) -> bytes:
    """Of a file that stands in the document; what is no base64 is empty, and refused as that."""
    try:
        return base64.b64decode(str(raw.get("data", "")), validate=True)
    except (binascii.Error, ValueError):
        return b""


def _photos(actor: Actor, document: dict[str, Any], at: datetime) -> Iterator[tuple[Line, Answer]]:
    for raw in document["photos"]:
        known = raw if isinstance(raw, dict) else {}
        answer = photos.take_photo(
            actor=actor, key=known.get("key"), of=known.get("of"), file=io.BytesIO(_bytes(known)),
            name=clean_name(str(known.get("name") or "photo.jpg")), taken_at=known.get("at"), at=at,
        )  # fmt: skip
        yield _line("A photo.", known, answer), answer


def _line(what: str, raw: dict[str, Any], answer: Answer) -> Line:
    return Line(what, str(raw.get("at", ""))[:16], STANDS[answer.state], answer.sentence)


urls: list[URLPattern] = [path("field/file/", field_file, name="field_file")]
