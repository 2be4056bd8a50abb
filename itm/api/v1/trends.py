"""The series of a proportioner over the years."""

from typing import Any
from uuid import UUID

from django.urls import URLPattern, path
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.describing import describe_one
from itm.api.v1.shapes import Ref
from itm.api.views import View
from itm.trends import queries
from itm.trends.statement import statement


class BandShape(serializers.Serializer):
    since = serializers.DateField(allow_null=True, help_text="Null: from the first result on")
    lower = serializers.FloatField()
    upper = serializers.FloatField()


class PointShape(serializers.Serializer):
    test = serializers.UUIDField()
    tested_on = serializers.DateField()
    purpose = serializers.CharField()
    as_left = serializers.BooleanField()
    percent = serializers.FloatField(help_text="% by volume")
    interval = serializers.ListField(
        child=serializers.FloatField(), allow_null=True, help_text="Two-sided 95 %"
    )
    limits = serializers.CharField()
    certainty = serializers.CharField()
    corrected_by = serializers.UUIDField(allow_null=True)


class FlowPointSeriesShape(serializers.Serializer):
    name = serializers.CharField()
    flow = serializers.CharField(allow_blank=True, help_text="As typed")
    bands = BandShape(many=True)
    baseline = PointShape(allow_null=True)
    as_found = PointShape(many=True)
    as_left = PointShape(many=True)
    corrected = PointShape(many=True)
    beside = PointShape(many=True, help_text="Of the same day by another method than the series")
    sentences = serializers.ListField(
        child=serializers.CharField(), help_text="What the years say: steps, drift, what is ahead"
    )


class EventShape(serializers.Serializer):
    day = serializers.DateField()
    words = serializers.CharField()
    detail = serializers.CharField(allow_blank=True)


class TrendShape(serializers.Serializer):
    proportioner = Ref()
    count = serializers.IntegerField(help_text="Records in force")
    flow_points = FlowPointSeriesShape(many=True)
    events = EventShape(many=True)


def point(one: queries.Point | None) -> dict[str, Any] | None:
    if one is None:
        return None
    record, result = one.record, one.result
    return {
        "test": record.key,
        "tested_on": record.tested_on,
        "purpose": record.purpose,
        "as_left": record.as_left,
        "percent": result.percent,
        "interval": list(result.interval) if result.interval else None,
        "limits": result.limits,
        "certainty": result.certainty,
        "corrected_by": record.corrected_by,
    }


def series(one: queries.FlowPointSeries, events: tuple[queries.Event, ...]) -> dict[str, Any]:
    said = statement(one, events)
    return {
        "name": one.name,
        "flow": one.flow,
        "bands": [{"since": s, "lower": low, "upper": high} for s, low, high in one.bands],
        "baseline": point(one.baseline),
        "as_found": [point(p) for p in one.points],
        "as_left": [point(p) for p in one.as_left],
        "corrected": [point(p) for p in one.corrected],
        "beside": [point(p) for p in one.beside],
        "sentences": list(said.sentences) if said else [],
    }


class Trend(View):
    @describe_one("read_trend", "The trend of a proportioner", TrendShape)
    def get(self, request: Request, key: UUID) -> Response:
        """Results as found are joined; as left, corrected and other methods' ones stand apart."""
        found = queries.series(self.actor, key, timezone.now())
        whole = {
            "proportioner": found.proportioner,
            "count": found.count,
            "flow_points": [series(one, found.events) for one in found.flow_points],
            "events": found.events,
        }
        return self.tagged(self.shown(TrendShape, whole))


urls: list[URLPattern] = [
    path("proportioners/<uuid:key>/trend/", Trend.as_view(), name="trend"),
]
