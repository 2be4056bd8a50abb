"""A bench evaluated without storing anything, and what the token itself is."""

import re
from typing import Any, ClassVar

from django.urls import URLPattern, path
from drf_spectacular.utils import OpenApiExample
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

import calc
from calc.errors import CalcError
from itm.api.describing import describe
from itm.api.problems import Problem, fault, pointer
from itm.api.v1.shapes import Ref
from itm.api.views import View

MOST_READINGS = 2_000
STEP = re.compile(r"\.([^.\[\]]+)|\[(\d+)\]")
READING = {
    "type": "object",
    "properties": {
        "value": {"type": "number"},
        "temperature_c": {"type": "number", "nullable": True},
    },
    "required": ["value", "temperature_c"],
}
READINGS = {"type": "array", "items": READING, "minItems": 1}
"""The keys are those of the engine, whose own refusals say the rest."""
FORM = {
    "type": "object",
    "properties": {
        "method": {"type": "string", "enum": ["refractive_index", "brix", "conductivity"]},
        "nominal_percent": {"type": "number"},
        "criterion": {
            "description": "“common”, limits {lower, upper}, or a criterion by its name {name}",
        },
        "instrument": {
            "type": "object",
            "properties": {
                "resolution": {"type": "number"},
                "repeatability": {"type": "number", "nullable": True},
                "temperature_compensated": {"type": "boolean"},
            },
            "required": ["resolution", "repeatability", "temperature_compensated"],
        },
        "water": READINGS,
        "standards": {
            "type": "array",
            "items": {
                "type": "object",
                "description": "Either percent, or both volumes as made.",
                "properties": {
                    "percent": {"type": "number"},
                    "concentrate_ml": {"type": "number"},
                    "water_ml": {"type": "number"},
                    "percent_uncertainty": {"type": "number"},
                    "readings": READINGS,
                },
                "required": ["readings"],
            },
        },
        "concentrate": {**READINGS, "nullable": True},
        "samples": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "name": {"type": "string"},
                    "flow_point": {"type": "string"},
                    "readings": READINGS,
                },
                "required": ["name", "readings"],
            },
        },
        "include_water": {"type": "boolean"},
        "fit": {"type": "string", "enum": ["ordinary", "weighted", "both-axes"]},
        "verdict_probability": {"type": "number", "nullable": True},
        "lean_probability": {"type": "number", "nullable": True},
        "correct_to_c": {"type": "number", "nullable": True},
        "water_again": {**READINGS, "nullable": True},
        "test_water": {**READINGS, "nullable": True},
    },
    "required": [
        "method", "nominal_percent", "criterion", "instrument", "water", "standards",
        "concentrate", "samples",
    ],
}  # fmt: skip
EXAMPLE = {
    "method": "refractive_index",
    "nominal_percent": 3,
    "criterion": "common",
    "instrument": {
        "resolution": 0.00001, "repeatability": 0.00002, "temperature_compensated": False,
    },
    "water": [{"value": 1.33312, "temperature_c": 19.6}],
    "standards": [
        {"percent": p, "readings": [{"value": v, "temperature_c": 19.7}]}
        for p, v in ((2, 1.33385), (3, 1.33421), (4, 1.33459))
    ],
    "concentrate": None,
    "samples": [{"name": "design", "readings": [{"value": 1.33428, "temperature_c": 19.7}]}],
}  # fmt: skip


class EvaluationShape(serializers.Serializer):
    """What the engine found. Whether a system may stay in service is for a qualified person."""

    engine_version = serializers.CharField()
    result = serializers.DictField(help_text="As in `evaluation.result` of a test.")


class Evaluate(View):
    scopes = {"POST": "evaluate"}
    largest = 200_000

    @describe(
        "evaluate", "Evaluate a bench without storing it", request={"application/json": FORM},
        responses={200: EvaluationShape},
        examples=[OpenApiExample("A bench at 3 %", value=EXAMPLE, request_only=True)],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """Line, percents, limits, certainty and warnings of one test, by the same engine that
        records go through. Nothing is kept, so it needs no Idempotency-Key."""
        count = readings(request.data)
        if count > MOST_READINGS:
            said = f"These are {count} readings; {MOST_READINGS} are the most at a time."
            raise Problem(422, "too_many_readings", said, [fault("", "too_many_readings", said)])
        try:
            found = calc.evaluate(request.data)
        except CalcError as error:
            at = fault(place(error.where), error.code, error.message)
            raise Problem(422, "not_valid", error.message, [at]) from error
        return Response({"engine_version": calc.__version__, "result": found.as_dict()})


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
