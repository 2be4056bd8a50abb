"""Photos of a test day: one file of one thing, kept once."""

from collections.abc import Mapping
from typing import Any

from django.urls import URLPattern, path
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.bodies import Multipart, file_in
from itm.api.describing import KEY, describe
from itm.api.doing_once import REPEATED, at_work, key_of
from itm.api.editing import given
from itm.api.problems import Problem, fault, pointer
from itm.api.views import View
from itm.doors.photos import SHOWN, TASK, take_photo
from itm.registry.files import clean_name

STATUS: Mapping[str, int] = {"refused": 422, "not_found": 422, "forbidden": 403}
# Where in the body the door's own places are; all others are about the thing that is shown.
PLACES = {"chosen": "file", "file": "file", "sha256": "sha256", "at": "at"}
BODY = {
    "type": "object",
    "properties": {
        **{
            name: {
                "type": "string", "format": "uuid",
                "description": f"Key of the {words} that it shows; one of these is sent, of what a "
                "task of a round wants to be seen its duty and the visit.",
            }
            for name, words in (
                ("visit", "visit"), ("run", "flow point's run"), ("line", "restoration line"),
                ("reading", "reading"), ("sample", "bottle of a concentrate check"), (TASK, "duty"),
            )
        },
        "at": {
            "type": "string", "format": "date-time",
            "description": "When it was taken, with its offset; else when it arrives.",
        },
        "sha256": {
            "type": "string", "pattern": "^[0-9A-Fa-f]{64}$",
            "description": "Of the file as it was sent: one that arrives otherwise is refused.",
        },
        "file": {
            "type": "string", "format": "binary",
            "description": "A JPEG, PNG or WebP picture of at most 15 MB.",
        },
    },
    "required": ["file"],
}  # fmt: skip


class PhotoGiven(serializers.Serializer):
    visit = serializers.UUIDField(required=False)
    run = serializers.UUIDField(required=False)
    line = serializers.UUIDField(required=False)
    reading = serializers.UUIDField(required=False)
    sample = serializers.UUIDField(required=False)
    duty = serializers.UUIDField(required=False)
    at = serializers.CharField(required=False, max_length=40)
    sha256 = serializers.RegexField(
        r"\A[0-9A-Fa-f]{64}\Z", required=False,
        error_messages={"invalid": "A SHA-256 is 64 digits from 0 to f."},
    )  # fmt: skip


class PhotoShape(serializers.Serializer):
    photo = serializers.UUIDField(help_text="The key of the request")
    file = serializers.UUIDField(help_text="The same picture of two things is one file")
    sha256 = serializers.CharField(help_text="Of the file as it is kept")


class Photos(View):
    scopes = {"POST": "hand_in"}
    parser_classes = [Multipart]

    @describe(
        "take_photo", "Keep a photo of a test day", request={"multipart/form-data": BODY},
        responses={201: PhotoShape}, parameters=[KEY],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """A picture of a visit, a flow point's run, a restoration line, a reading or the bottle of
        a concentrate check. It may come after the hand-in. What shows runs, readings or bottles
        stays with the crew until the record is sealed, and the seal holds its digest. The photo
        that a task of an inspection wants goes with the inspection, or before the entry `inspect`
        that names it."""
        key = key_of(request)
        parts: Any = request.data
        said = {name: value for name, value in parts.items() if name not in request.FILES}
        body = given(PhotoGiven, said)
        of = {name: str(body[name]) for name in (*SHOWN, TASK) if name in body}
        if len(of) != 1 and set(of) != {TASK, "visit"}:
            sentence = f"Name the one thing that the photo shows: {', '.join(SHOWN)}."
            raise Problem(422, "not_one_thing", sentence, [fault("", "not_one_thing", sentence)])
        file: Any = file_in(request, "file")
        with at_work(self.actor, key):
            answer = take_photo(
                actor=self.actor, key=str(key), of=of, file=file.file,
                name=clean_name(file.name or ""), taken_at=body.get("at"), at=timezone.now(),
                sha256=body.get("sha256", ""),
            )  # fmt: skip
        if not answer.taken:
            thing = list(of)[-1]
            place = PLACES.get(answer.place, thing)
            wrong = [fault(pointer(place), answer.code, answer.sentence)]
            status = STATUS[answer.state]
            raise Problem(status, answer.code, answer.sentence, wrong if status == 422 else [])
        again = {REPEATED: "true"} if answer.state == "taken_before" else {}
        return Response(answer.now, status=201, headers=again)


urls: list[URLPattern] = [path("photos/", Photos.as_view(), name="photos")]
