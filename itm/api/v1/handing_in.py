"""What devices and programs hand in of a test day: entry by entry."""

from typing import Any

from django.urls import URLPattern, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.describing import describe
from itm.api.editing import given
from itm.api.views import View
from itm.doors.entries import MOST_ENTRIES, take
from itm.doors.verbs import VERBS, Field, Verb

KEYS = {"type": "object", "additionalProperties": {"type": "string", "format": "uuid"}}
TEXTS = {
    "type": "object",
    "additionalProperties": {
        "oneOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]
    },
}


def field_words(field: Field) -> str:
    means = field.means
    if field.units:
        means += f", a number and one of {', '.join(field.units)}"
    if field.choices:
        means += f", one of {', '.join(field.choices)}"
    return f"`{field.name}`{'' if field.needed else ' (may be left out)'}: {means}"


def verb_words(verb: Verb) -> str:
    of = f" Of a {verb.of}." if verb.of else ""
    puts = "".join(f"\n  - {field_words(field)}" for field in verb.put)
    return f"- **{verb.name}**: {verb.means}{of}{puts}"


ENTRY = {
    "type": "object",
    "properties": {
        "key": {
            "type": "string", "format": "uuid",
            "description": "Made by the device at the first keystroke and never changed: sent "
            "twice, the entry is taken once. A row that the entry makes gets the same key.",
        },
        "verb": {"type": "string", "enum": list(VERBS)},
        "of": {**KEYS, "description": "What it hangs on: the kind and its key."},
        "put": {**TEXTS, "description": "Texts as typed, numbers with their units."},
        "opened": {
            **TEXTS,
            "description": "The same texts as the device last knew them: what somebody else "
            "changed since is then told and not overwritten.",
        },
        "at": {
            "type": "string", "format": "date-time", "nullable": True,
            "description": "When it was done, by the device's clock.",
        },
    },
    "required": ["key", "verb"],
}  # fmt: skip
BODY = {
    "type": "object",
    "properties": {
        "device_now": {
            "type": "string", "format": "date-time", "nullable": True,
            "description": "The device's clock at the moment of sending.",
        },
        "entries": {"type": "array", "items": ENTRY, "minItems": 1, "maxItems": MOST_ENTRIES},
    },
    "required": ["entries"],
}  # fmt: skip
EXAMPLE = {
    "device_now": "2026-05-03T10:15:00+01:00",
    "entries": [
        {
            "key": "7d9d7b0e-0d5e-4b2f-9f5e-5f3b0a1c2d3e",
            "verb": "note_run",
            "of": {"run": "1f6d1c52-8f0a-4f43-8c8c-0a3d0e7b9c11"},
            "put": {
                "solution_flow": "850 L/min", "flow_source": "meter", "inlet_pressure": "7.2 bar",
            },
            "at": "2026-05-03T10:12:30+01:00",
        }
    ],
}  # fmt: skip


class EntriesGiven(serializers.Serializer):
    """Each entry is judged by itself, so here only that there are some."""

    device_now = serializers.CharField(required=False, allow_null=True, max_length=40)
    entries = serializers.ListField(allow_empty=False, max_length=MOST_ENTRIES)


class EntryAnswerShape(serializers.Serializer):
    key = serializers.CharField(allow_blank=True)
    state = serializers.ChoiceField(
        choices=["taken", "taken_before", "refused", "crossed", "forbidden", "not_found"]
    )
    code = serializers.CharField(
        allow_blank=True, help_text="“waits”: send it again, under the same key, after the others"
    )
    sentence = serializers.CharField(allow_blank=True)
    place = serializers.CharField(allow_blank=True, help_text="Name of a text that was put")
    now = serializers.DictField(help_text="What stands on the server, as text")


class EntryAnswersShape(serializers.Serializer):
    server_now = serializers.DateTimeField()
    answers = EntryAnswerShape(many=True)


class Entries(View):
    scopes = {"POST": "hand_in"}

    @describe(
        "take_entries", "Hand over entries of a test day", request={"application/json": BODY},
        responses={200: EntryAnswersShape},
        examples=[OpenApiExample("A flow point was run", value=EXAMPLE, request_only=True)],
        description="Each entry is one thing that somebody did. They are taken in the order "
        "given, each by itself: one that is refused stops only those that hang on it. Every entry "
        "has its own key, so the request needs none. The verbs:\n\n"
        + "\n".join(verb_words(verb) for verb in VERBS.values()),
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        body: dict[str, Any] = given(EntriesGiven, request.data)
        now = timezone.now()
        answers = take(
            actor=self.actor, entries=body["entries"], device_now=body.get("device_now"), at=now
        )
        return Response({"server_now": now, "answers": [one.as_json() for one in answers]})


urls: list[URLPattern] = [path("entries/", Entries.as_view(), name="entries")]
