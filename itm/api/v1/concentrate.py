"""Tanks with what they hold on a day, and lots."""

from typing import Any
from uuid import UUID

from django.urls import URLPattern, path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.asking import Asked
from itm.api.describing import MATCH, describe, describe_list, describe_one
from itm.api.editing import changed
from itm.api.v1.shapes import Figure, Quantity, Ref, choice
from itm.api.v1.sites import FindAt, wanted
from itm.api.views import ListView, Named, View
from itm.registry import queries, services
from itm.registry.contents import Contents, contents, pfas_words
from itm.registry.forms import LotForm


class PartShape(serializers.Serializer):
    lot = Ref()
    volume = serializers.FloatField(help_text="m³")
    share = serializers.FloatField(help_text="Of 1")


class ContentsShape(serializers.Serializer):
    """By the book of its movements; water that came in by itself is on none of them."""

    on = serializers.DateField()
    noted = serializers.BooleanField(help_text="False: nothing was ever noted of this tank.")
    volume = serializers.FloatField(help_text="m³")
    lots = PartShape(many=True)
    pfas = serializers.CharField(help_text="In words, with what stood here before")
    remarks = serializers.ListField(child=serializers.CharField())


class TankShape(serializers.Serializer):
    key = serializers.UUIDField()
    tag = serializers.CharField()
    site = Ref()
    kind = choice(queries.TANK_KINDS)
    capacity = Quantity()
    usable_volume = Quantity()
    installed_on = serializers.DateField(allow_null=True)
    retired_on = serializers.DateField(allow_null=True)
    contents = serializers.SerializerMethodField()

    @extend_schema_field(ContentsShape)
    def get_contents(self, tank: Any) -> dict[str, Any]:
        on = self.context["on"] or self.context["actor"].date_at(tank.site.time_zone)
        held: Contents = contents(tank, tank.movements.all(), on)
        return {
            "on": on.isoformat(),
            "noted": held.noted,
            "volume": held.volume,
            "lots": [
                {"lot": Ref(part.lot).data, "volume": part.volume, "share": part.share}
                for part in held.parts
            ],
            "pfas": pfas_words(held),
            "remarks": held.remarks,
        }


class On(Asked):
    on = serializers.DateField(
        required=False, help_text="The day whose end the contents stand at; today of the site."
    )


class FindTanks(FindAt):
    kind = choice(queries.TANK_KINDS, required=False)
    on = On().fields["on"]


class LotShape(serializers.Serializer):
    key = serializers.UUIDField()
    owner = Ref()
    product = serializers.CharField()
    kind = choice(queries.LOT_KINDS)
    nominal_percent = Figure(help_text="% by volume")
    batch = serializers.CharField()
    made_on = serializers.DateField(allow_null=True)
    expires_on = serializers.DateField(allow_null=True)
    pfas = choice(queries.PFAS)
    refractive_index = Figure(allow_null=True, help_text="nD at 20 °C, undiluted")
    density = Figure(allow_null=True, help_text="kg/m³ at 20 °C")
    ph = Figure(allow_null=True)


class LotChange(serializers.Serializer):
    """What is left out stays as it is; null empties what may be empty. Numbers as typed."""

    product = serializers.CharField(max_length=80, required=False)
    kind = choice(queries.LOT_KINDS, required=False)
    nominal_percent = serializers.CharField(max_length=20, required=False)
    batch = serializers.CharField(max_length=60, required=False)
    made_on = serializers.DateField(required=False, allow_null=True)
    expires_on = serializers.DateField(required=False, allow_null=True)
    pfas = choice(queries.PFAS, required=False)
    refractive_index = serializers.CharField(max_length=20, required=False, allow_null=True)
    density = serializers.CharField(max_length=20, required=False, allow_null=True)
    ph = serializers.CharField(max_length=20, required=False, allow_null=True)


class FindLots(Named):
    """A lot is not retired: it is used up."""

    kind = choice(queries.LOT_KINDS, required=False)
    pfas = choice(queries.PFAS, required=False)


class Tanks(ListView):
    shape, query = TankShape, FindTanks

    def rows(self) -> Any:
        return queries.tanks(self.actor, wanted(self.asked, "site", "kind"))

    def context(self) -> dict[str, Any]:
        return {"on": self.asked.get("on")}

    @describe_list("list_tanks", "Tanks and what they hold", TankShape, FindTanks)
    def get(self, request: Request) -> Response:
        return self.listed()


class Tank(View):
    query = On

    @describe_one("read_tank", "One tank and what it holds", TankShape, parameters=[On])
    def get(self, request: Request, key: UUID) -> Response:
        row = queries.tank_with_book(self.actor, key)
        return self.tagged(self.shown(TankShape, row, on=self.asked.get("on")))


class Lots(ListView):
    shape, query = LotShape, FindLots

    def rows(self) -> Any:
        return queries.lots(self.actor, wanted(self.asked, "kind", "pfas"))

    @describe_list("list_lots", "Lots of concentrate", LotShape, FindLots)
    def get(self, request: Request) -> Response:
        """Your own, and those in a tank that you see."""
        return self.listed()


class Lot(View):
    scopes = {"GET": "read", "PATCH": "registry"}

    @describe_one("read_lot", "One lot", LotShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(LotShape, queries.lot(self.actor, key)))

    @describe(
        "change_lot", "Change a lot", request=LotChange, responses={200: LotShape},
        parameters=[MATCH],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """Only its owner can. Sealed records keep what stood there when they were sealed."""
        return changed(
            self, LotShape, LotChange, find=lambda: queries.lot(self.actor, key),
            form=lambda row: LotForm, what="change a lot",
            write=lambda row, values: services.change_lot(actor=self.actor, lot=row, **values),
        )  # fmt: skip


urls: list[URLPattern] = [
    path("tanks/", Tanks.as_view(), name="tanks"),
    path("tanks/<uuid:key>/", Tank.as_view(), name="tank"),
    path("lots/", Lots.as_view(), name="lots"),
    path("lots/<uuid:key>/", Lot.as_view(), name="lot"),
]
