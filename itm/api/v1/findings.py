"""What is wrong and what is out of service; read only. What is done about it is done by people."""

from typing import Any
from uuid import UUID

from django.urls import URLPattern, path
from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.asking import ListAsked, Pages
from itm.api.describing import describe_list, describe_one
from itm.api.v1.shapes import Ref
from itm.api.views import ListView, View
from itm.findings import clocks, queries

CLASSES = {1: "impairment", 2: "critical", 3: "noncritical"}


class StepShape(serializers.Serializer):
    at = serializers.DateTimeField(help_text="When it was entered")
    verb = serializers.CharField()
    words = serializers.CharField()
    who = serializers.CharField(help_text="Who was told, who repaired, who walked a round")
    happened_at = serializers.DateTimeField(allow_null=True)
    how = serializers.CharField()
    reference = serializers.CharField()
    person = serializers.CharField()
    organisation = serializers.CharField()
    clock = serializers.CharField(source="clock.code", default=None, allow_null=True)


class DeficiencyShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    what = serializers.CharField(source="words")
    where = serializers.SerializerMethodField()
    severity = serializers.SerializerMethodField(help_text="impairment, critical or noncritical")
    proposed = serializers.SerializerMethodField(help_text="The class that the rule proposed")
    severity_reason = serializers.CharField(help_text="Why it is another class than proposed")
    found_again_on = serializers.DateField(
        source="again_on", allow_null=True, help_text="The last day on which it showed again"
    )
    found_again_as = serializers.CharField(
        source="again_words", help_text="As it was found then; empty where it was not"
    )
    class_asked_on = serializers.DateField(
        allow_null=True, help_text="Since when its class is asked for again: it was lowered before"
    )
    shown_by = serializers.CharField(source="cause")
    found_on = serializers.DateField()
    opened_at = serializers.DateTimeField()
    responsible = serializers.CharField()
    assigned = Ref(allow_null=True)
    target_on = serializers.DateField(allow_null=True)
    fix_proposed = serializers.BooleanField(source="proposes")
    closed_at = serializers.DateTimeField(allow_null=True)
    outcome = serializers.CharField(help_text="Empty while open; fixed, repaired or ended")
    closed_reason = serializers.CharField()

    def get_where(self, row: Any) -> str:
        return queries.where(row)

    def get_severity(self, row: Any) -> str:
        return CLASSES[row.severity]

    def get_proposed(self, row: Any) -> str:
        return CLASSES[row.proposed]


class DeficiencyLifeShape(DeficiencyShape):
    life = serializers.SerializerMethodField()

    @extend_schema_field(StepShape(many=True))
    def get_life(self, row: Any) -> list[dict[str, Any]]:
        return StepShape(queries.steps_of(row), many=True).data  # type: ignore[return-value]


class ClockShape(serializers.Serializer):
    clock = serializers.CharField(source="clock.code")
    tell = serializers.CharField(source="clock.tell")
    runs_out_at = serializers.DateTimeField(source="at")
    over = serializers.BooleanField()
    asks = serializers.CharField(
        source="clock.asks", help_text="told: a call answers it; arranged: only what stands in"
    )
    told = serializers.CharField(
        source="told.who", default=None, allow_null=True,
        help_text="Who was told, or who sees to what is arranged",
    )  # fmt: skip


class BackShape(serializers.Serializer):
    key = serializers.UUIDField()
    name = serializers.CharField()
    back_at = serializers.DateTimeField(allow_null=True)


class ImpairmentShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    systems = serializers.SerializerMethodField()
    reason = serializers.CharField(source="why")
    coordinator = serializers.CharField(source="coordinated_by")
    plain_water = serializers.CharField(source="water")
    stands_in = serializers.CharField()
    started_at = serializers.DateTimeField()
    expected_end_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    taken_back_at = serializers.DateTimeField(
        allow_null=True, help_text="It was started by mistake, and no system was out of service"
    )

    @extend_schema_field(BackShape(many=True))
    def get_systems(self, row: Any) -> list[dict[str, Any]]:
        rows = [
            {"key": one.system.key, "name": str(one.system), "back_at": one.back_at}
            for one in row.systems.all()
        ]
        return BackShape(rows, many=True).data  # type: ignore[return-value]


class ImpairmentLifeShape(ImpairmentShape):
    clocks = serializers.SerializerMethodField()
    life = serializers.SerializerMethodField()

    @extend_schema_field(ClockShape(many=True))
    def get_clocks(self, row: Any) -> list[dict[str, Any]]:
        running = clocks.running([row], timezone.now()).get(row.pk, [])
        return ClockShape(running, many=True).data  # type: ignore[return-value]

    @extend_schema_field(StepShape(many=True))
    def get_life(self, row: Any) -> list[dict[str, Any]]:
        return StepShape(queries.steps_of(row), many=True).data  # type: ignore[return-value]


class FindFindings(ListAsked):
    standing = serializers.ChoiceField(choices=["open", "closed", "all"], default="open")
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")


class Deficiencies(ListView):
    shape, query, pages = DeficiencyShape, FindFindings, Pages("severity", "opened_at")

    def rows(self) -> Any:
        return _narrowed(queries.all_deficiencies(self.actor), self.asked, "closed_at")

    @describe_list("list_deficiencies", "Findings", DeficiencyShape, FindFindings)
    def get(self, request: Request) -> Response:
        """Deficiencies, the worst and of these the oldest first."""
        return self.listed()


class Deficiency(View):
    @describe_one("read_deficiency", "One deficiency with its life", DeficiencyLifeShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(DeficiencyLifeShape, queries.deficiency(self.actor, key)))


class Impairments(ListView):
    shape, query, pages = ImpairmentShape, FindFindings, Pages("started_at")

    def rows(self) -> Any:
        rows = queries.all_impairments(self.actor)
        if self.asked["standing"] != "all":
            rows = rows.filter(taken_back_at=None)
        return _narrowed(rows, self.asked, "ended_at")

    @describe_list("list_impairments", "Impairments", ImpairmentShape, FindFindings)
    def get(self, request: Request) -> Response:
        """Systems out of service, in the order in which they went out. Those that were started by
        mistake stand among all."""
        return self.listed()


class Impairment(View):
    @describe_one("read_impairment", "One impairment with its clocks", ImpairmentLifeShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(ImpairmentLifeShape, queries.impairment(self.actor, key)))


def _narrowed(rows: Any, asked: dict[str, Any], ended: str) -> Any:
    if asked["standing"] != "all":
        rows = rows.filter(**{f"{ended}__isnull": asked["standing"] == "open"})
    return rows.filter(site__key=asked["site"]) if "site" in asked else rows


urls: list[URLPattern] = [
    path("findings/", Deficiencies.as_view(), name="findings"),
    path("findings/<uuid:key>/", Deficiency.as_view(), name="finding"),
    path("impairments/", Impairments.as_view(), name="impairments"),
    path("impairments/<uuid:key>/", Impairment.as_view(), name="impairment"),
]
