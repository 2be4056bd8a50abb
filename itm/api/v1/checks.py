"""Concentrate checks: read, handed in as a document, and answered by a laboratory."""

import json
import uuid
from functools import cache
from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api import doing_once
from itm.api.asking import ListAsked, Pages
from itm.api.describing import KEY, describe, describe_list, describe_one
from itm.api.doing_once import at_work, key_of, repeated
from itm.api.v1.records import AnyType, OnPaper, RecordWhole, WaitingShape, report_of, sealed_bytes
from itm.api.v1.shapes import Ref, choice
from itm.api.v1.sites import wanted
from itm.api.views import ListView, View
from itm.doors.document_check import FORM, hand_in_check, take_answer
from itm.doors.verbs import CHECK_PURPOSES, POINTS
from itm.intake.once import Answer
from itm.records import check_queries as queries
from itm.records import finding
from itm.registry.finding import Wanted
from itm.registry.properties import PROPERTIES
from itm.reports import queries as reports

LARGEST = 24_000_000  # bytes: a report of 15 MB as base64, and the rest
LIMITS = ["within limits", "outside limits", "no limits"]


class CheckShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    tank = Ref()
    organisation = Ref()
    purpose = choice([(one, one) for one in CHECK_PURPOSES])
    checked_on = serializers.DateField(help_text="Day of the bottles")
    circulated = serializers.BooleanField()
    state = choice(finding.STATES)
    limits = serializers.CharField(allow_blank=True, help_text=f"{', '.join(LIMITS)}; or empty")
    strength = serializers.CharField(allow_blank=True, help_text="Dilution, in words; or empty")
    layers = serializers.CharField(allow_blank=True, help_text="Stratification, in words; or empty")
    handed_in_at = serializers.DateTimeField(allow_null=True)
    sealed_at = serializers.DateTimeField(allow_null=True)


class CheckWholeShape(RecordWhole, CheckShape):
    report_at = "v1:check_report"


class FindChecks(ListAsked):
    find = serializers.CharField(
        max_length=80, default="",
        help_text="Every word stands in a name, tag or label, or is its day, number or digest.",
    )  # fmt: skip
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    tank = serializers.UUIDField(required=False, help_text="Only of this tank.")
    state = choice(finding.STATES, required=False)
    limits = serializers.ChoiceField(choices=LIMITS, required=False)


# What comes in -----------------------------------------------------------------------------------

TEXT = {"type": "string"}
VALUES = {
    "type": "array",
    "items": {
        "type": "object",
        "properties": {
            "property": {"type": "string", "enum": list(PROPERTIES)},
            "value": {**TEXT, "description": "Every digit, and the unit where there is one"},
            "temperature": {**TEXT, "description": "°C, of the liquid"},
            "origin": {"type": "string", "enum": ["own", "laboratory"]},
            "method": {**TEXT, "description": "By what it was measured"},
            "measured_on": {"type": "string", "format": "date"},
            "entered_at": {"type": "string", "format": "date-time"},
            "set_aside": {"type": "object", "description": "reason, at"},
        },
        "required": ["property", "value"],
    },
}
FILE = {
    "type": "object",
    "description": "The paper itself: a PDF, or a JPEG, PNG or WebP picture, up to 15 MB.",
    "properties": {"name": TEXT, "base64": TEXT},
    "required": ["name", "base64"],
}
PAPER: dict[str, Any] = {
    "laboratory": TEXT,
    "number": {**TEXT, "description": "Number of the report"},
    "reported_on": {"type": "string", "format": "date"},
    "file": FILE,
}
BODY = {
    "type": "object",
    "properties": {
        "form": {"type": "integer", "enum": [FORM]},
        "about": {"description": "Anything; it is not kept."},
        "tank": {"type": "string", "format": "uuid"},
        "checked_on": {"type": "string", "format": "date"},
        "purpose": {"type": "string", "enum": list(CHECK_PURPOSES)},
        "circulated": {"type": "string", "enum": ["True", "False"]},
        "programmes": {
            "type": "array", "items": TEXT,
            "description": "Codes of limits beside those of the certificate, which always count",
        },
        "u_refractive_index": TEXT,
        "u_density": TEXT,
        "notes": TEXT,
        "samples": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "point": {"type": "string", "enum": list(POINTS)},
                    "label": TEXT,
                    "taken_at": {"type": "string", "format": "date-time"},
                    "look": TEXT,
                    "laboratory": TEXT,
                    "sent_on": {"type": "string", "format": "date"},
                    "consignment": TEXT,
                    "received_on": {"type": "string", "format": "date"},
                    "values": VALUES,
                },
                "required": ["point", "taken_at"],
            },
        },
        "laboratory_reports": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {**PAPER, "samples": {"type": "array", "items": TEXT}},
                "required": ["laboratory", "number", "reported_on", "samples", "file"],
            },
        },
        "hand_in": {"type": "boolean", "description": "true if nothing is said"},
    },
    "required": ["tank", "purpose", "samples"],
}  # fmt: skip
ANSWER = {
    "type": "object",
    "properties": {
        **PAPER,
        "samples": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {"label": TEXT, "values": VALUES},
                "required": ["label"],
            },
        },
        "hand_in": {"type": "boolean", "description": "false if nothing is said"},
    },
    "required": ["laboratory", "number", "reported_on", "samples", "file"],
}
ANSWER_EXAMPLE = {
    "laboratory": "Laboratory of the invented institute",
    "number": "L-118",
    "reported_on": "2026-07-06",
    "samples": [
        {
            "label": "T-1 260615 top",
            "values": [{"property": "ph", "value": "7.6", "temperature": "20.0"}],
        }
    ],
    "file": {"name": "L-118.pdf", "base64": "JVBERi0xLjQK"},
    "hand_in": True,
}


@cache
def example_check() -> dict[str, Any]:
    """The invented check of the fixtures; its key stands for one of the reader's own register."""
    found: dict[str, Any] = json.loads(
        (settings.BASE_DIR / "fixtures/intake/check.json").read_text()
    )
    return found


class MadeCheckShape(serializers.Serializer):
    check = serializers.UUIDField()
    samples = serializers.DictField(
        child=serializers.UUIDField(), help_text="Keys of the bottles by their labels"
    )
    state = serializers.CharField(help_text="handed_in, or draft where `hand_in` is false")
    limits = serializers.CharField(required=False)
    strength = serializers.CharField(required=False)
    layers = serializers.CharField(required=False)


def answered(view: View, answer: Answer) -> Response:
    headers = {"Location": reverse("v1:check", args=[answer.value["check"]])}
    return Response(doing_once.told(answer), status=201, headers=headers | repeated(answer))


class Checks(ListView):
    shape, query, pages = CheckShape, FindChecks, Pages("-checked_on")
    scopes = {"GET": "read", "POST": "hand_in"}
    largest = LARGEST

    def rows(self) -> Any:
        asked: Wanted = wanted(self.asked, *queries.NARROWS)
        return queries.listed_checks(self.actor, asked)

    @describe_list("list_checks", "Concentrate checks", CheckShape, FindChecks)
    def get(self, request: Request) -> Response:
        """The newest day first. An owner sees a check from its hand-in, an authority when it is
        sealed, its maker always."""
        return self.listed()

    @describe(
        "hand_in_check", "Hand in a concentrate check", request={"application/json": BODY},
        responses={201: MadeCheckShape}, parameters=[KEY],
        examples=[OpenApiExample("Two bottles measured by the crew (invented)",
                                 value=example_check(), request_only=True)],
        description="A check as one document: all of it is taken, or nothing and every problem at "
        "its place. With `hand_in` false it stays a draft, as it must while a bottle is under way "
        "to a laboratory; the entries and the answer of the laboratory go on with it. Signing "
        "stays with a person.",
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        key = key_of(request)
        with at_work(self.actor, key):
            answer = hand_in_check(
                actor=self.actor, document=request.data, key=key, at=timezone.now()
            )
        return answered(self, answer)


class Check(View):
    @describe_one("read_check", "One concentrate check as it stands", CheckWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(CheckWholeShape, queries.check(self.actor, key)))


class LaboratoryReports(View):
    scopes = {"POST": "hand_in"}
    largest = LARGEST

    @describe(
        "take_laboratory_report", "Add what a laboratory answered",
        request={"application/json": ANSWER}, responses={201: MadeCheckShape}, parameters=[KEY],
        examples=[OpenApiExample("A report on one bottle (invented)", value=ANSWER_EXAMPLE,
                                 request_only=True)],
        description="The report with its values to a check that waits for it: all of it or "
        "nothing. The file is kept as it is and its SHA-256 is sealed with the check.",
    )  # fmt: skip
    def post(self, request: Request, key: UUID) -> Response:
        queries.check(self.actor, key)  # a stranger learns no more than that there is none
        once: uuid.UUID = key_of(request)
        with at_work(self.actor, once):
            answer = take_answer(
                actor=self.actor, check=key, document=request.data, key=once, at=timezone.now()
            )
        return answered(self, answer)


class SealedBytes(View):
    content_negotiation_class = AnyType
    refuses = True

    @describe(
        "read_sealed_check", "The sealed bytes of a check", responses={200: OpenApiTypes.OBJECT}
    )
    def get(self, request: Request, key: UUID) -> HttpResponse:
        """Exactly what was sealed: its SHA-256 is the digest on the report. Refused while the
        check is not sealed."""
        return sealed_bytes(reports.sealed_check(self.actor, key))


class Report(View):
    content_negotiation_class = AnyType
    refuses = True
    query = OnPaper

    @describe(
        "read_check_report", "The report of a sealed check as PDF", parameters=[OnPaper],
        responses={
            (200, "application/pdf"): OpenApiTypes.BINARY,
            202: OpenApiResponse(WaitingShape, "Being made: ask again after Retry-After."),
        },
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> HttpResponse | Response:
        """Refused while the check is not sealed."""
        return report_of(self.actor, reports.sealed_check(self.actor, key), **self.asked)


urls: list[URLPattern] = [
    path("checks/", Checks.as_view(), name="checks"),
    path("checks/<uuid:key>/", Check.as_view(), name="check"),
    path(
        "checks/<uuid:key>/laboratory-reports/", LaboratoryReports.as_view(),
        name="laboratory_reports",
    ),
    path("checks/<uuid:key>/sealed/", SealedBytes.as_view(), name="check_sealed"),
    path("checks/<uuid:key>/report/", Report.as_view(), name="check_report"),
]  # fmt: skip
