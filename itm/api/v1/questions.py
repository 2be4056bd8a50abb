"""Questions of an authority on a sealed record: read, asked, answered, closed."""

import uuid
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.urls import URLPattern, path, reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.asking import ListAsked, Pages
from itm.api.describing import KEY, MATCH, describe, describe_list, describe_one
from itm.api.doing_once import answered
from itm.api.editing import given, settled
from itm.api.problems import Problem, fault, named_at
from itm.api.v1.shapes import Ref
from itm.api.views import ListView, View
from itm.findings import asking, queries
from itm.records import check_queries
from itm.records import queries as records


class AnswerShape(serializers.Serializer):
    key = serializers.UUIDField()
    words = serializers.CharField()
    at = serializers.DateTimeField()
    person = serializers.CharField()
    organisation = serializers.CharField()


class QuestionShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    organisation = Ref(help_text="The authority that asked")
    test = serializers.UUIDField(source="test.key", allow_null=True, default=None)
    concentrate_check = serializers.UUIDField(
        source="concentrate_check.key", allow_null=True, default=None
    )
    words = serializers.CharField()
    asked_at = serializers.DateTimeField()
    asked_by = serializers.CharField()
    answers = serializers.IntegerField(source="said", help_text="How many")
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_by = serializers.CharField(allow_blank=True)


class QuestionWholeShape(QuestionShape):
    answers: Any = serializers.SerializerMethodField()  # and what they are

    @extend_schema_field(AnswerShape(many=True))
    def get_answers(self, row: Any) -> list[dict[str, Any]]:
        return AnswerShape(queries.answers_of(row), many=True).data  # type: ignore[return-value]


class FindQuestions(ListAsked):
    standing = serializers.ChoiceField(choices=["open", "closed", "all"], default="open")
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")


class QuestionGiven(serializers.Serializer):
    """On one of the two kinds of record."""

    test = serializers.UUIDField(required=False)
    concentrate_check = serializers.UUIDField(required=False)
    words = serializers.CharField(max_length=1000)


class AnswerGiven(serializers.Serializer):
    words = serializers.CharField(max_length=2000)


class Closed(serializers.Serializer):
    closed = serializers.ChoiceField(choices=[True], help_text="It is never opened again.")


READ: dict[str, Callable[..., Any]] = {
    "test": records.test, "concentrate_check": check_queries.check,
}  # fmt: skip
ASKED = {
    "test": "5b0a1c2d-3e4f-4a5b-8c6d-7e8f9a0b1c2d",
    "words": "Which water were the standards made from?",
}
ANSWERED = {"words": "The fire main, hydrant 4 (invented)"}


class Questions(ListView):
    shape, query, pages = QuestionShape, FindQuestions, Pages("asked_at")
    scopes = {"GET": "read", "POST": "hand_in"}

    def rows(self) -> Any:
        rows = queries.all_questions(self.actor)
        if self.asked["standing"] != "all":
            rows = rows.filter(closed_at__isnull=self.asked["standing"] == "open")
        return rows.filter(site__key=self.asked["site"]) if "site" in self.asked else rows

    @describe_list("list_questions", "Questions on records", QuestionShape, FindQuestions)
    def get(self, request: Request) -> Response:
        """Those that nobody closed, in the order in which they were asked."""
        return self.listed()

    @describe(
        "ask_question", "Ask about a sealed record", request=QuestionGiven,
        responses={201: QuestionWholeShape}, parameters=[KEY],
        examples=[OpenApiExample("About the water (invented)", value=ASKED, request_only=True)],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """By an authority of its site. Owner and contractor read it and can answer."""
        body = given(QuestionGiven, request.data)
        named = [name for name in READ if name in body]
        if len(named) != 1:
            said = "Name one record: “test” or “concentrate_check”, with its key."
            raise Problem(422, "not_valid", said, [fault("", "one_record", said)])

        def do(_: uuid.UUID) -> Any:
            with named_at(named[0]):
                record = READ[named[0]](self.actor, body[named[0]])
            row = asking.ask(
                actor=self.actor, record=record, words=body["words"], at=timezone.now()
            )
            return self.shown(QuestionWholeShape, queries.question(self.actor, row.key))

        response = answered(request, "question", do)
        response["Location"] = reverse("v1:question", args=[response.data["key"]])
        return response


class Question(View):
    scopes = {"GET": "read", "PATCH": "hand_in"}

    @describe_one("read_question", "One question with its answers", QuestionWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        row = queries.question(self.actor, key)
        return self.tagged(self.shown(QuestionWholeShape, row))

    @describe(
        "close_question", "Close a question", request=Closed,
        responses={200: QuestionWholeShape}, parameters=[MATCH],
        examples=[OpenApiExample("Closed", value={"closed": True}, request_only=True)],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """By the authority that asked. The ETag holds the answers too, so nobody closes over one
        that was not read."""
        return settled(
            self, QuestionWholeShape, Closed,
            find=lambda: queries.question(self.actor, key),
            may=lambda row: asking.require_asker(self.actor, row),
            write=lambda row, _: asking.close_question(
                actor=self.actor, question=row, at=timezone.now()
            ),
        )  # fmt: skip


class Answers(View):
    scopes = {"POST": "hand_in"}

    @describe(
        "answer_question", "Answer a question", request=AnswerGiven,
        responses={201: QuestionWholeShape}, parameters=[KEY],
        examples=[OpenApiExample("About the water (invented)", value=ANSWERED, request_only=True)],
    )  # fmt: skip
    def post(self, request: Request, key: UUID) -> Response:
        """By anybody who sees it, while it is open. The answer is the question with all of them."""
        row = queries.question(self.actor, key)
        body = given(AnswerGiven, request.data)

        def do(_: uuid.UUID) -> Any:
            asking.answer(actor=self.actor, question=row, at=timezone.now(), **body)
            return self.shown(QuestionWholeShape, queries.question(self.actor, key))

        told = {"of": str(key), "answer": request.data}
        return answered(request, "answer", do, body=told)


ONE = "questions/<uuid:key>/"
urls: list[URLPattern] = [
    path("questions/", Questions.as_view(), name="questions"),
    path(ONE, Question.as_view(), name="question"),
    path(f"{ONE}answers/", Answers.as_view(), name="answers"),
]
