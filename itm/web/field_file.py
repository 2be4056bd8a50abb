"""The last resort of field capture: what a device could not send, handed in as a file."""

import json
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.doors.entry import LONGEST, Answer
from itm.doors.last_resort import take_all
from itm.doors.verbs import VERBS
from itm.records.hands import LONGEST as LONGEST_NAME
from itm.web.field import in_the_field
from itm.web.guard import signed_in
from itm.web.uploading import was_dropped

KIND, FORM = "field entries", 1
LISTS = ("entries", "papers", "photos", "typed", "elsewhere")
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
    asked, held_papers, held_photos = (document[name] for name in ("entries", "papers", "photos"))
    answers = take_all(
        actor=_for(in_the_field(request), document["person"]), asked=asked,
        held_papers=held_papers, held_photos=held_photos,
        elsewhere=document["elsewhere"], at=timezone.now(),
    )  # fmt: skip
    what = [*map(_what, asked), *("A laboratory’s report." for _ in held_papers),
            *("A photo." for _ in held_photos)]  # fmt: skip
    raws = [*asked, *held_papers, *held_photos]
    lines = [_line(*one) for one in zip(what, raws, answers, strict=True)]
    taken = sum(answer.taken for answer in answers)
    context = {
        "answers": lines, "taken": taken, "whose": document["person"].get("name", ""),
        "typed": _typed(document),
    }  # fmt: skip
    return render(request, "field/file.html", context, status=200 if taken == len(answers) else 422)


def _for(actor: Actor, person: dict[str, Any]) -> Actor:
    """Under the rights of who hands it in, and in the name of who entered it: a reading of another
    would else count as one's own, in the sealed record and in the statistics of last digits."""
    if person.get("key") == str(actor.person_key):
        return actor
    name = person.get("name")
    text = name if isinstance(name, str) else ""
    shown = "".join(letter if letter.isprintable() else " " for letter in text)
    hand = " ".join(shown.split())[:LONGEST_NAME]
    return replace(actor, hand=hand or "somebody unnamed")


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
    lists = [read.setdefault(name, []) for name in LISTS]
    if not all(isinstance(one, list) for one in lists) or not isinstance(read.get("person"), dict):
        raise wrong
    return read


def _what(raw: Any) -> str:
    verb = VERBS.get(str(raw.get("verb"))) if isinstance(raw, dict) else None
    return verb.means if verb else "unknown"


def _typed(document: dict[str, Any]) -> list[str]:
    """What was typed on the device and never kept there: no entry, so it is shown and not taken."""
    texts = [one.get("text") for one in document["typed"] if isinstance(one, dict)]
    return [text[:LONGEST] for text in texts if isinstance(text, str)]


def _line(what: str, raw: Any, answer: Answer) -> Line:
    at = raw.get("at", "") if isinstance(raw, dict) else ""
    return Line(what, str(at)[:16], STANDS[answer.state], answer.sentence)


urls: list[URLPattern] = [path("field/file/", field_file, name="field_file")]
