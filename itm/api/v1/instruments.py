"""The contractor's own instruments, with what their certificates say."""

from typing import Any
from uuid import UUID

from django.urls import URLPattern, path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.describing import MATCH, describe, describe_list, describe_one
from itm.api.editing import changed
from itm.api.v1.shapes import Figure, choice
from itm.api.v1.sites import wanted
from itm.api.views import Find, ListView, View
from itm.registry import queries, services
from itm.registry.certificates import in_force
from itm.registry.forms import InstrumentForm


class InstrumentShape(serializers.Serializer):
    key = serializers.UUIDField()
    name = serializers.CharField()
    serial_number = serializers.CharField()
    method = choice(queries.METHODS)
    unit = serializers.CharField(allow_blank=True)
    resolution = Figure(
        help_text="One step of the display, or the part of a division that is read between the "
        "marks of an analogue scale, in its unit"
    )
    division = Figure(
        allow_null=True, help_text="Of an analogue scale: from one mark to the next, in its unit"
    )
    repeatability = Figure(
        allow_null=True, help_text="Standard deviation of one reading, in its unit"
    )
    temperature_compensated = serializers.BooleanField()
    compensates_from_c = Figure(allow_null=True, help_text="Lowest temperature of its range, °C")
    compensates_to_c = Figure(allow_null=True, help_text="Highest temperature of its range, °C")
    retired_on = serializers.DateField(allow_null=True)


class CertificateShape(serializers.Serializer):
    key = serializers.UUIDField()
    number = serializers.CharField()
    laboratory = serializers.CharField(allow_blank=True)
    issued_on = serializers.DateField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    withdrawn_because = serializers.CharField(allow_blank=True)


class InstrumentWholeShape(InstrumentShape):
    certificates = serializers.SerializerMethodField()
    in_force = serializers.SerializerMethodField()

    @extend_schema_field(CertificateShape(many=True))
    def get_certificates(self, row: Any) -> Any:
        return CertificateShape(self._known(row), many=True).data

    @extend_schema_field(serializers.UUIDField(allow_null=True, help_text="Key of one of them"))
    def get_in_force(self, row: Any) -> str | None:
        found = in_force(self._known(row), self.context["actor"].today)
        return str(found.key) if found else None

    def _known(self, row: Any) -> list[Any]:
        return queries.certificates_of(self.context["actor"], row)


class InstrumentChange(serializers.Serializer):
    """What is left out stays as it is; null empties what may be empty. Numbers as typed."""

    name = serializers.CharField(max_length=80, required=False)
    serial_number = serializers.CharField(max_length=60, required=False)
    method = choice(queries.METHODS, required=False)
    unit = serializers.CharField(max_length=8, required=False, allow_blank=True)
    resolution = serializers.CharField(max_length=20, required=False)
    division = serializers.CharField(max_length=20, required=False, allow_null=True)
    repeatability = serializers.CharField(max_length=20, required=False, allow_null=True)
    temperature_compensated = serializers.BooleanField(required=False)
    compensates_from_c = serializers.CharField(max_length=20, required=False, allow_null=True)
    compensates_to_c = serializers.CharField(max_length=20, required=False, allow_null=True)


class FindInstruments(Find):
    method = choice(queries.METHODS, required=False)


class Instruments(ListView):
    shape, query = InstrumentShape, FindInstruments

    def rows(self) -> Any:
        asked = wanted(self.asked, "method")
        return queries.instruments(self.actor, asked, self.actor.today)

    @describe_list("list_instruments", "Instruments", InstrumentShape, FindInstruments)
    def get(self, request: Request) -> Response:
        """Those of your own organisation; of others you read in the records that name them."""
        return self.listed()


class Instrument(View):
    scopes = {"GET": "read", "PATCH": "registry"}

    @describe_one("read_instrument", "One instrument with its certificates", InstrumentWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(InstrumentWholeShape, queries.instrument(self.actor, key)))

    @describe(
        "change_instrument", "Change an instrument", request=InstrumentChange,
        responses={200: InstrumentWholeShape}, parameters=[MATCH],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        return changed(
            self, InstrumentWholeShape, InstrumentChange,
            find=lambda: queries.instrument(self.actor, key), form=lambda row: InstrumentForm,
            what="change an instrument",
            write=lambda row, values: services.change_instrument(
                actor=self.actor, instrument=row, **values
            ),
        )  # fmt: skip


urls: list[URLPattern] = [
    path("instruments/", Instruments.as_view(), name="instruments"),
    path("instruments/<uuid:key>/", Instrument.as_view(), name="instrument"),
]
