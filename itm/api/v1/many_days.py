"""Many test days at once: answered as far as the time of a request goes, or accepted and taken one
by one by a promised job, which says of each what became of it."""

import time
import uuid
from typing import Any
from uuid import UUID

from django.urls import URLPattern, path, reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.accounts import tokens
from itm.accounts.actor import Actor, acting
from itm.api import doing_once
from itm.api.describing import MAY_KEY, FaultShape, describe, describe_one
from itm.api.doing_once import answered_in_parts
from itm.api.editing import given
from itm.api.problems import faults, told
from itm.api.v1.handing_in import DAY, MadeDayShape, example_day
from itm.api.views import View
from itm.core import outbox
from itm.core.errors import ItmError
from itm.doors.hand_in_day import hand_in_day
from itm.intake import many_days

MOST_DAYS = 1_000
SECONDS = 20  # of one request, well below what servers and proxies wait
TURN = 10.0  # seconds of the job before whatever was promised since goes first; own choice
LATER = "respond-async"  # RFC 7240, 4.1
ASK_AGAIN = 5  # seconds


class DayGiven(serializers.Serializer):
    key = serializers.UUIDField(help_text="Made for this day: sent twice, it is taken once.")
    document = serializers.DictField(help_text="As `POST /tests/` takes one.")


class DaysGiven(serializers.Serializer):
    days = serializers.ListField(
        child=serializers.DictField(), allow_empty=False, max_length=MOST_DAYS
    )


DAYS = {
    "type": "object",
    "properties": {
        "days": {
            "type": "array", "minItems": 1, "maxItems": MOST_DAYS,
            "items": {
                "type": "object",
                "properties": {
                    "key": {"type": "string", "format": "uuid"},
                    "document": DAY,
                },
                "required": ["key", "document"],
            },
        },
    },
    "required": ["days"],
}  # fmt: skip


class DayAnswerShape(serializers.Serializer):
    key = serializers.CharField(allow_blank=True)
    state = serializers.ChoiceField(choices=["taken", "taken_before", "refused", "not_yet"])
    code = serializers.CharField(allow_blank=True)
    detail = serializers.CharField(allow_blank=True)
    errors = FaultShape(many=True)  # type: ignore[assignment]
    made = MadeDayShape(allow_null=True)


class DayAnswersShape(serializers.Serializer):
    answers = DayAnswerShape(many=True)
    left = serializers.IntegerField(help_text="How many were not come to: send the same again.")


def answer_of(key: str, state: str, **more: Any) -> dict[str, Any]:
    plain: dict[str, Any] = {"code": "", "detail": "", "errors": [], "made": None}
    return {"key": key, "state": state, **plain, **more}


def one_of_many(actor: Actor, given_day: Any) -> dict[str, Any]:
    """What became of one day; pointers lead from the top of its own document."""
    shown = str(given_day.get("key", ""))[:64]
    shape = DayGiven(data=given_day)
    if not shape.is_valid():
        wrong = list(faults(shape.errors))
        return answer_of(
            shown, "refused", code="not_valid", detail=wrong[0]["detail"], errors=wrong
        )
    key = shape.validated_data["key"]
    try:
        answer = hand_in_day(
            actor=actor, document=given_day["document"], key=key, at=timezone.now()
        )
    except ItmError as error:
        _, code, detail, errors, _ = told(error)
        return answer_of(str(key), "refused", code=code, detail=detail, errors=errors)
    state = "taken_before" if answer.repeated else "taken"
    return answer_of(str(key), state, made=doing_once.told(answer))


PREFER = OpenApiParameter(
    "Prefer", str, OpenApiParameter.HEADER, required=False,
    description=f"`{LATER}` (RFC 7240): answered 202 at once, and done without a request that "
    "waits. Needs an Idempotency-Key.",
)  # fmt: skip


class AcceptedShape(serializers.Serializer):
    key = serializers.UUIDField(help_text="That of the request")
    days = serializers.IntegerField()


class Bulk(View):
    """Each day has a key of its own and is committed by itself, so that a request that breaks off
    loses no more than its answer: whoever sends the same again goes on where it stopped."""

    scopes = {"POST": "hand_in"}
    largest = 24_000_000

    @describe(
        "hand_in_days", "Hand in many test days", request={"application/json": DAYS},
        responses={200: DayAnswersShape, 202: AcceptedShape}, parameters=[MAY_KEY, PREFER],
        examples=[OpenApiExample("One day of many (invented)", request_only=True, value={
            "days": [{"key": "5c0f7a1e-2f7b-4b0c-9d0e-6a4f1c2b3d4e", "document": example_day()}],
        })],
        description=f"Up to {MOST_DAYS:,} days, each with a key of its own. Each is taken whole or "
        "not at all, in the order given, and one that is refused stops no other. There are two "
        "ways.\n\n"
        f"With `Prefer: {LATER}` and an Idempotency-Key the days are accepted (202) and taken one "
        "by one without a request that waits; `Location` says where to ask how far it is and what "
        "became of each. The same sent again under its key is accepted once.\n\n"
        f"Without it they are taken while the request waits. After {SECONDS} seconds the rest is "
        "answered `not_yet`, and `left` says how many these are: send the same again, with the "
        "same keys, until `left` is 0; what was taken comes back at once as `taken_before`. Where "
        "the request has a key too, its answer is kept once `left` is 0.",
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        days = given(DaysGiven, request.data)["days"]
        if LATER in [one.strip() for one in request.headers.get("Prefer", "").split(",")]:
            return self.accepted(request, days)
        return answered_in_parts(
            request, "days", lambda: self.taken(days), final=lambda told: not told["left"]
        )

    def accepted(self, request: Request, days: list[dict[str, Any]]) -> Response:
        def do(key: uuid.UUID) -> dict[str, Any]:
            many_days.accept(bearer=self.bearer, key=key, days=days, at=timezone.now())
            return {"key": str(key), "days": len(days)}

        answer = doing_once.answered(request, "many days", do, status=202)
        answer["Location"] = reverse("v1:many_days", args=[answer.data["key"]])
        answer["Preference-Applied"] = LATER
        answer["Retry-After"] = str(ASK_AGAIN)
        return answer

    def taken(self, days: list[dict[str, Any]]) -> dict[str, Any]:
        end = time.monotonic() + SECONDS
        answers = []
        for place, one in enumerate(days):
            if time.monotonic() > end and place:
                answers.append(not_yet(str(one.get("key", ""))[:64]))
            else:
                answers.append(one_of_many(self.actor, one))
        return {"answers": answers, "left": left_of(answers)}


def not_yet(key: str) -> dict[str, Any]:
    return answer_of(key, "not_yet")


def left_of(answers: list[dict[str, Any]]) -> int:
    return sum(answer["state"] == "not_yet" for answer in answers)


class ManyDaysShape(serializers.Serializer):
    key = serializers.UUIDField()
    state = serializers.ChoiceField(choices=["at_work", "done"])
    asked_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    days = serializers.IntegerField()
    taken = serializers.IntegerField(help_text="With what was taken before")
    refused = serializers.IntegerField()
    left = serializers.IntegerField(help_text="How many were not come to yet")
    answers = DayAnswerShape(many=True)


class Many(View):
    scopes = {"GET": "hand_in"}

    @describe_one("read_hand_in_of_days", "What became of many test days", ManyDaysShape)
    def get(self, request: Request, key: UUID) -> Response:
        """How far a hand-in is that was accepted, and of each day what became of it, in the order
        given; `not_yet` where it was not come to. While some are left, `Retry-After` says when to
        ask again. What is refused is put right and handed in again, under another key where the
        document is another."""
        row = many_days.found(self.actor, key)
        answers = [one.answer or not_yet(one.told_key) for one in row.days.all()]
        told_of = {
            "key": str(row.key),
            "state": "done" if row.ended_at else "at_work",
            "asked_at": row.asked_at,
            "ended_at": row.ended_at,
            "days": len(answers),
            "taken": sum(one["state"] in ("taken", "taken_before") for one in answers),
            "refused": sum(one["state"] == "refused" for one in answers),
            "left": left_of(answers),
            "answers": answers,
        }
        more = {} if row.ended_at else {"Retry-After": str(ASK_AGAIN)}
        return self.tagged(ManyDaysShape(told_of).data, **more)


# The job -----------------------------------------------------------------------------------------

FAILED = (
    "The server ended at this day several times, so it was left out and nothing of it was taken. "
    "Hand it in alone, and tell whoever runs this server."
)


def take_many_days(many: int) -> object:
    """Job. May run twice: each day is answered once, and taken once by its own key. It acts as the
    token did that handed them over, as long as that works."""
    row = many_days.begun(many)
    if row is None:
        return None
    end = time.monotonic() + TURN
    while many_days.answer_next(row, do=lambda asked: _answer(row.token, asked), give_up=_left_out):
        outbox.prolong()
        if time.monotonic() > end:
            return outbox.MORE
    many_days.end(row, timezone.now())
    return None


def _answer(token: Any, asked: dict[str, Any]) -> dict[str, Any]:
    now = timezone.now()
    token.refresh_from_db()
    if (stands := tokens.stands(token, now.date())) != "works":
        key = str(asked.get("key", ""))[:64]
        sentence = f"The token that handed this in does not work any more: it {WHY[stands]}."
        return answer_of(key, "refused", code="token_ended", detail=sentence)
    return one_of_many(acting(token.membership, now.date(), via="api", at=now), asked)


WHY = {"revoked": "was revoked", "its person left": "is of a person who left",
       "ran out": "ran out"}  # fmt: skip


def _left_out(key: str) -> dict[str, Any]:
    return answer_of(key, "refused", code="failed", detail=FAILED)


urls: list[URLPattern] = [
    path("tests/bulk/", Bulk.as_view(), name="bulk"),
    path("tests/bulk/<uuid:key>/", Many.as_view(), name="many_days"),
]
