"""A test evaluated without storing anything, and what the token itself is."""

import re
from typing import Any, ClassVar

from django.urls import URLPattern, path
from drf_spectacular.utils import OpenApiExample
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

import calc
from calc.direct_form import DIRECT_METHODS
from calc.entries import choice_at
from calc.errors import CalcError
from calc.form import METHODS
from itm.api.describing import describe
from itm.api.problems import Problem, fault, pointer
from itm.api.v1.engine_forms import ANY, BENCH_EXAMPLE, DIRECT_EXAMPLES, WEIGHED_EXAMPLE
from itm.api.v1.shapes import Ref
from itm.api.views import View
from itm.records.judging import outcome_of

MOST_READINGS = 2_000
STEP = re.compile(r"\.([^.\[\]]+)|\[(\d+)\]")


class EvaluationShape(serializers.Serializer):
    """What the engine found. Whether a system may stay in service is for a qualified person."""

    engine_version = serializers.CharField()
    result = serializers.DictField(help_text="As in `evaluation.result` of a test.")


class Evaluate(View):
    scopes = {"POST": "evaluate"}
    largest = 200_000

    @describe(
        "evaluate", "Evaluate a test without storing it", request={"application/json": ANY},
        responses={200: EvaluationShape},
        examples=[
            OpenApiExample(name, value=value, request_only=True)
            for name, value in {
                "A bench at 3 %": BENCH_EXAMPLE,
                "A thick concentrate that was weighed": WEIGHED_EXAMPLE,
                **DIRECT_EXAMPLES,
            }.items()
        ],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """Percents, limits, certainty and warnings of one test, by the same engine that records go
        through: a bench with its line, or a direct method (two flows, a tank that sinks, another
        liquid), which answers with the same keys and no line. Nothing is kept, so it needs no
        Idempotency-Key."""
        count = readings(request.data)
        if count > MOST_READINGS:
            said = f"These are {count} readings; {MOST_READINGS} are the most at a time."
            raise Problem(422, "too_many_readings", said, [fault("", "too_many_readings", said)])
        try:
            found = evaluated(request.data)
        except CalcError as error:
            at = fault(place(error.where), error.code, error.message)
            raise Problem(422, "not_valid", error.message, [at]) from error
        return Response({"engine_version": calc.__version__, "result": found.as_dict()})


def evaluated(form: Any) -> Any:
    """By the engine of its method; one without any is refused as a bench is. Raises CalcError."""
    if not isinstance(form, dict) or "method" not in form:
        return calc.evaluate(form)
    choice_at(form["method"], "$.method", (*METHODS, *DIRECT_METHODS))
    return outcome_of(form)


def readings(body: Any) -> int:
    """How many there are, wherever they stand: what the work grows with."""
    count, waiting = 0, [body]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            count += "value" in one
            waiting += one.values()
        elif isinstance(one, list):
            count += not one or not isinstance(one[0], dict)
            waiting += one
    return count


def place(where: str) -> str:
    """A JSON pointer from the engine's path, as $.standards[0].percent."""
    return pointer(*(name or index for name, index in STEP.findall(where)))


class TokenShape(serializers.Serializer):
    name = serializers.CharField()
    person = serializers.CharField()
    organisation = Ref()
    kind = serializers.CharField(help_text="owner, contractor or authority")
    role = serializers.CharField()
    scopes = serializers.ListField(child=serializers.CharField())
    expires_on = serializers.DateField(help_text="The last day on which it works, in UTC")


class Token(View):
    scopes: ClassVar[dict[str, str]] = {}  # whatever it is for, it may ask what it is

    @describe("read_token", "What this token is", responses={200: TokenShape})
    def get(self, request: Request) -> Response:
        bearer, actor = self.bearer, self.actor
        return Response(
            {
                "name": bearer.token.name,
                "person": actor.person,
                "organisation": Ref(actor.organisation).data,
                "kind": actor.kind,
                "role": actor.role,
                "scopes": sorted(bearer.scopes),
                "expires_on": bearer.token.expires_on.isoformat(),
            }
        )


urls: list[URLPattern] = [
    path("token/", Token.as_view(), name="token"),
    path("evaluate/", Evaluate.as_view(), name="evaluate"),
]
