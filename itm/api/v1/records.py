"""Visits and tests: lists, one as it stands, the sealed bytes, and the report."""

from functools import cached_property
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpResponse
from django.urls import URLPattern, path, reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema_field
from rest_framework import serializers
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response

from itm.accounts.actor import Actor
from itm.api.asking import Asked, ListAsked, Pages
from itm.api.describing import describe, describe_list, describe_one
from itm.api.v1.handing_in import describe_day, hand_in_one
from itm.api.v1.shapes import Figure, Ref, choice
from itm.api.v1.sites import wanted
from itm.api.views import ListView, View
from itm.records import finding, queries
from itm.records.as_it_stands import record_form
from itm.registry.finding import Wanted
from itm.reports import queries as reports
from itm.reports.choices import KEPT, SIZES, TYPED, UNITS
from itm.reports.services import copy_for, counted_as, promise


class VisitShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    contractor = Ref()
    planned_on = serializers.DateField()
    crew = serializers.CharField(allow_blank=True)
    coordinator = serializers.CharField(allow_blank=True)
    impairment_reason = serializers.CharField(allow_blank=True)
    started_at = serializers.DateTimeField(allow_null=True)
    restored_at = serializers.DateTimeField(allow_null=True)


class NoticeShape(serializers.Serializer):
    told = serializers.CharField()
    told_by = serializers.CharField()
    how = serializers.CharField(allow_blank=True)
    reference = serializers.CharField(allow_blank=True)
    told_at = serializers.DateTimeField()


class RestorationShape(serializers.Serializer):
    key = serializers.UUIDField()
    proportioner = Ref()
    text = serializers.CharField()
    outcome = serializers.CharField(allow_blank=True, help_text="Empty while it is open")
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_by = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)
    handed_to = serializers.CharField(allow_blank=True)


class VisitWholeShape(VisitShape):
    notices = NoticeShape(many=True, source="notices.all")
    restoration = RestorationShape(many=True, source="restoration_lines.all")
    tests = serializers.SerializerMethodField()

    @extend_schema_field(
        serializers.ListField(child=serializers.UUIDField(), help_text="Those that you may see")
    )
    def get_tests(self, visit: Any) -> list[str]:
        rows = queries.tests(self.context["actor"]).filter(visit=visit).order_by("pk")
        return [str(key) for key in rows.values_list("key", flat=True)]


class TestShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    system = Ref(source="proportioner.system")
    proportioner = Ref()
    visit = serializers.UUIDField(source="visit.key")
    contractor = Ref(source="visit.contractor")
    purpose = choice(queries.PURPOSES)
    phase = choice(queries.PHASES)
    tested_on = serializers.DateField()
    state = choice(finding.STATES)
    nominal_percent = Figure()
    limits = serializers.CharField(allow_blank=True, help_text="in band, lean or rich; or empty")
    certainty = serializers.CharField(allow_blank=True, help_text="settled or undecided; or empty")
    handed_in_at = serializers.DateTimeField(allow_null=True)
    sealed_at = serializers.DateTimeField(allow_null=True)


class SealShape(serializers.Serializer):
    number = serializers.IntegerField()
    digest = serializers.CharField(help_text="SHA-256 of the sealed bytes")
    previous = serializers.CharField(allow_blank=True, help_text="Of the record sealed before it")
    signer = serializers.CharField()
    sealed_at = serializers.DateTimeField()


class RecordWhole(serializers.Serializer):
    """What is told beside the columns of one record of whatever kind. `report_at` is the address of
    its report."""

    report_at: ClassVar[str]
    document = serializers.SerializerMethodField()
    missing = serializers.SerializerMethodField()
    seal = SealShape(allow_null=True, default=None)
    report_pdf = serializers.SerializerMethodField()

    @extend_schema_field(
        serializers.DictField(
            help_text="The canonical form. Of a sealed record these are its sealed bytes. In "
            "`evaluation.result` stands what the engine found, of a test in % by volume with 95 % "
            "intervals; null while there is no result. Whether a system may stay in service, or a "
            "concentrate in use, is for a qualified person to decide."
        )
    )
    def get_document(self, record: Any) -> Any:
        return self.form[0]

    @extend_schema_field(
        serializers.CharField(help_text="What keeps a draft without a result; empty otherwise")
    )
    def get_missing(self, record: Any) -> str:
        return self.form[1]

    @extend_schema_field(
        serializers.URLField(allow_null=True, help_text="Where the report of a sealed record is")
    )
    def get_report_pdf(self, record: Any) -> str | None:
        if record.sealed_at is None:
            return None
        url = reverse(self.report_at, args=[record.key])
        made: str = self.context["request"].build_absolute_uri(url)
        return made

    @cached_property
    def form(self) -> tuple[dict[str, Any], str]:
        record: Any = self.instance
        return record_form(record)


class TestWholeShape(RecordWhole, TestShape):
    report_at = "v1:report"


class FindVisits(ListAsked):
    find = serializers.CharField(
        max_length=80, default="", help_text="Every word stands in the name of site or contractor."
    )
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    since = serializers.DateField(required=False, help_text="Planned on this day or later.")
    until = serializers.DateField(required=False, help_text="Planned on this day or before.")


class FindTests(ListAsked):
    find = serializers.CharField(
        max_length=80, default="",
        help_text="Every word stands in a name or tag, or is its day, number or digest.",
    )  # fmt: skip
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    proportioner = serializers.UUIDField(required=False, help_text="Only of this proportioner.")
    state = choice(finding.STATES, required=False)
    limits = serializers.ChoiceField(choices=["in band", "lean", "rich"], required=False)
    since = serializers.DateField(required=False, help_text="Tested on this day or later.")
    until = serializers.DateField(required=False, help_text="Tested on this day or before.")


class Visits(ListView):
    shape, query, pages = VisitShape, FindVisits, Pages("-planned_on")

    def rows(self) -> Any:
        return queries.listed_visits(self.actor, wanted(self.asked, *queries.VISIT_NARROWS))

    @describe_list("list_visits", "Visits", VisitShape, FindVisits)
    def get(self, request: Request) -> Response:
        """The newest day first. Of others you see a visit from the start of its test day."""
        return self.listed()


class Visit(View):
    @describe_one("read_visit", "One visit", VisitWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(VisitWholeShape, queries.visit(self.actor, key)))


class TestList(ListView):
    shape, query, pages = TestShape, FindTests, Pages("-tested_on")
    scopes = {"GET": "read", "POST": "hand_in"}

    def rows(self) -> Any:
        asked: Wanted = wanted(self.asked, *finding.NARROWS)
        return finding.listed_tests(self.actor, asked)

    @describe_list("list_tests", "Proportioning tests", TestShape, FindTests)
    def get(self, request: Request) -> Response:
        """The newest day first. An owner sees a test from its hand-in, an authority when it is
        sealed, its contractor always."""
        return self.listed()

    @describe_day
    def post(self, request: Request) -> Response:
        return hand_in_one(self)


class Test(View):
    @describe_one("read_test", "One test as it stands", TestWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(TestWholeShape, queries.test(self.actor, key)))


class AnyType(DefaultContentNegotiation):
    """The file is what it is; only a problem is worded."""

    def select_renderer(self, request: Any, renderers: Any, format_suffix: Any = None) -> Any:
        return renderers[0], renderers[0].media_type


class SealedBytes(View):
    content_negotiation_class = AnyType
    refuses = True

    @describe(
        "read_sealed_bytes", "The sealed bytes of a record",
        responses={200: OpenApiTypes.OBJECT},
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> HttpResponse:
        """Exactly what was sealed: its SHA-256 is the digest on the report. Refused while the
        record is not sealed."""
        return sealed_bytes(reports.sealed_record(self.actor, key))


def sealed_bytes(record: reports.SealedRecord) -> HttpResponse:
    return HttpResponse(
        bytes(record.seal.document), content_type="application/json",
        headers={"ETag": f'"{record.digest}"'},
    )  # fmt: skip


class WaitingShape(serializers.Serializer):
    state = serializers.ChoiceField(choices=["being made"])
    said = serializers.CharField(allow_blank=True, help_text="Why the last try failed")
    tries = serializers.IntegerField()


class OnPaper(Asked):
    """Without either, the report that is kept: on A4, as it was typed. Copies are made at once; how
    many in a minute is bounded for each person, and 429 says when it goes on."""

    size = choice(list(SIZES.items()), required=False, help_text="A copy on paper of this size.")
    units = choice(
        list(UNITS.items()), required=False,
        help_text="A copy in these units, with what was typed in others in brackets.",
    )  # fmt: skip


class Report(View):
    content_negotiation_class = AnyType
    refuses = True
    query = OnPaper

    @describe(
        "read_report", "The report of a sealed record as PDF", parameters=[OnPaper],
        responses={
            (200, "application/pdf"): OpenApiTypes.BINARY,
            202: OpenApiResponse(WaitingShape, "Being made: ask again after Retry-After."),
        },
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> HttpResponse | Response:
        """Refused while the record is not sealed."""
        return report_of(self.actor, reports.sealed_record(self.actor, key), **self.asked)


def report_of(
    actor: Actor, record: reports.SealedRecord, size: str = KEPT, units: str = TYPED
) -> HttpResponse | Response:
    """The file that is kept, or that it is being made, which is promised once more; of another size
    or in other units a copy, made at once and counted with those that the person asks for on
    pages."""
    if (size, units) != (KEPT, TYPED):
        copy = copy_for(counted_as(actor), record, size, units)
        return HttpResponse(copy, content_type="application/pdf")
    made = reports.report_bytes(record.seal)
    if made is not None:
        return HttpResponse(made, content_type="application/pdf")
    promise(record.seal)
    how = reports.making(record.seal)
    body = {"state": "being made", "said": how.said, "tries": how.tries}
    return Response(body, status=202, headers={"Retry-After": "30" if how.tries else "4"})


urls: list[URLPattern] = [
    path("visits/", Visits.as_view(), name="visits"),
    path("visits/<uuid:key>/", Visit.as_view(), name="visit"),
    path("tests/", TestList.as_view(), name="tests"),
    path("tests/<uuid:key>/", Test.as_view(), name="test"),
    path("tests/<uuid:key>/sealed/", SealedBytes.as_view(), name="sealed"),
    path("tests/<uuid:key>/report/", Report.as_view(), name="report"),
]
