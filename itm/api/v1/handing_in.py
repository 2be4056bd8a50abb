"""What devices and programs hand in of a test day: entry by entry, as a whole, or many at once."""

import json
import uuid
from functools import cache
from typing import Any
from uuid import UUID

from django.conf import settings
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api import doing_once
from itm.api.describing import KEY, MAY_KEY, describe, describe_one
from itm.api.doing_once import answered_in_parts, at_work, key_of, repeated
from itm.api.editing import given
from itm.api.views import View
from itm.doors.day import day_of
from itm.doors.entries import MOST_ENTRIES, WAITS, take
from itm.doors.hand_in_day import FORM, hand_in_day
from itm.doors.verb import Field, Verb
from itm.doors.verbs import METHODS, VERBS
from itm.intake.once import Answer

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
            "changed since is then told and not overwritten. Of an undo, what it undoes "
            "(started_at, foam_seen_at, done_at, outcome with ended_at, withdrawn_reason or "
            "set_aside_reason). An answer `crossed` holds in `now` what stands; sent again with "
            "that in `opened`, the entry takes its place.",
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


def none_waits(answer: dict[str, Any]) -> bool:
    return all(one["code"] != WAITS for one in answer["answers"])


class Entries(View):
    scopes = {"POST": "hand_in"}

    @describe(
        "take_entries", "Hand over entries of a test day", request={"application/json": BODY},
        responses={200: EntryAnswersShape}, parameters=[MAY_KEY],
        examples=[OpenApiExample("A flow point was run", value=EXAMPLE, request_only=True)],
        description="Each entry is one thing that somebody did. They are taken in the order "
        "given, each by itself: one that is refused stops only those that hang on it. Every "
        "entry has its own key, so the request needs none; where it has one, its answer is kept as "
        "soon as no entry waits for another. The verbs:\n\n"
        + "\n".join(verb_words(verb) for verb in VERBS.values()),
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        body: dict[str, Any] = given(EntriesGiven, request.data)
        return answered_in_parts(request, "entries", lambda: self.taken(body), final=none_waits)

    def taken(self, body: dict[str, Any]) -> dict[str, Any]:
        now = timezone.now()
        answers = take(
            actor=self.actor, entries=body["entries"], device_now=body.get("device_now"), at=now
        )
        return {"server_now": now, "answers": [one.as_json() for one in answers]}


class MadeTestShape(serializers.Serializer):
    test = serializers.UUIDField()
    state = serializers.CharField(help_text="handed_in, or draft where the day says hand_in false")
    limits = serializers.CharField(required=False, help_text="in band, lean or rich")
    certainty = serializers.CharField(required=False, help_text="settled or undecided")


class MadeDayShape(serializers.Serializer):
    visit = serializers.UUIDField()
    tests = MadeTestShape(many=True)
    checks = serializers.ListField(
        child=serializers.DictField(), required=False,
        help_text="Of a day with checks: each as `POST /checks/` answers one",
    )  # fmt: skip


DAY_WORDS = (
    "A whole test day as one document: all of it is taken, or nothing and every problem at its "
    "place. It goes the way of the entries, so nothing is judged that is not judged there; signing "
    "stays with a person. Every measured value is text with its last zeros and its unit, every "
    "moment has its offset from UTC.\n\n"
)


@cache
def example_day() -> dict[str, Any]:
    """The invented day of the fixtures; its keys stand for keys of the reader's own register."""
    found: dict[str, Any] = json.loads((settings.BASE_DIR / "fixtures/intake/day.json").read_text())
    return found


def texts_of(verb: str) -> dict[str, Any]:
    """The texts of a verb as an object, from the table that takes them."""
    fields = {
        field.name: {
            "type": "string", "description": field.means,
            **({"enum": ["", *field.choices]} if field.choices else {}),
        }
        for field in VERBS[verb].put
    }  # fmt: skip
    return {"type": "object", "properties": fields}


DAY = {
    "type": "object",
    "properties": {
        "form": {"type": "integer", "enum": [FORM]},
        "about": {"description": "Anything; it is not kept."},
        "visit": {
            "type": "object",
            "description": "`key` of a visit that was planned; or `site` and `planned_on`. Then "
            "crew, effluent_plan, ambient_c, weather.",
        },
        "notices": {"type": "array", "items": {"type": "object"}},
        "effluent": {"type": "array", "items": texts_of("note_effluent")},
        "start": {"type": "object", "description": "at, reason, coordinator"},
        "benches": {
            "type": "array", "items": {"type": "object"},
            "description": "Of tests that are read on one; a direct test has none.",
        },
        "tests": {
            "type": "array",
            "items": {
                "type": "object",
                "description": "With the name of its `bench`, or with `method` and `direct`; each "
                "of its `runs` then has a `direct` too.",
                "properties": {
                    "method": {"type": "string", "enum": list(METHODS)},
                    "direct": texts_of("note_setup"),
                    "runs": {
                        "type": "array",
                        "items": {
                            "type": "object", "properties": {"direct": texts_of("note_measured")},
                        },
                    },
                },
            },
        },
        "checks": {
            "type": "array", "items": {"type": "object"},
            "description": "Concentrate checks of tanks at the site, each as `POST /checks/` takes "
            "one. A day holds at least one test or check.",
        },
    },
    "required": ["visit"],
}  # fmt: skip


def hand_in(view: View, key: uuid.UUID, document: Any) -> Answer:
    """One day. Raises what `hand_in_day` raises."""
    return hand_in_day(actor=view.actor, document=document, key=key, at=timezone.now())


def hand_in_one(view: View) -> Response:
    key = key_of(view.request)
    with at_work(view.actor, key):
        answer = hand_in(view, key, view.request.data)
    headers = {"Location": reverse("v1:visit", args=[answer.value["visit"]])}
    return Response(doing_once.told(answer), status=201, headers=headers | repeated(answer))


describe_day = describe(
    "hand_in_day", "Hand in a test day", request={"application/json": DAY},
    responses={201: MadeDayShape}, parameters=[KEY],
    examples=[OpenApiExample("A day with one test (invented)", value=example_day(),
                             request_only=True)],
    description=DAY_WORDS,
)  # fmt: skip


class Day(View):
    @describe_one(
        "read_day", "A visit with everything that a device needs", OpenApiTypes.OBJECT
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> Response:
        """To work the whole day without a signal, and to hand over its entries later."""
        return self.tagged(day_of(self.actor, key))


urls: list[URLPattern] = [
    path("entries/", Entries.as_view(), name="entries"),
    path("visits/<uuid:key>/day/", Day.as_view(), name="day"),
]
