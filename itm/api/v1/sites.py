"""Sites, and what stands on them: systems, proportioners, equipment."""

from typing import Any
from uuid import UUID

from django.urls import URLPattern, path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.actions.change_site import change_site
from itm.api.describing import MATCH, describe, describe_list, describe_one
from itm.api.editing import changed
from itm.api.v1.shapes import Figure, Quantity, Ref, choice
from itm.api.views import Find, ListView, View
from itm.registry import queries
from itm.registry import queries_equipment as things
from itm.registry.finding import Wanted
from itm.registry.forms import SiteForm


class SiteShape(serializers.Serializer):
    key = serializers.UUIDField()
    name = serializers.CharField()
    owner = Ref()
    address = serializers.CharField(allow_blank=True)
    country = serializers.CharField(allow_blank=True)
    time_zone = serializers.CharField(help_text="IANA name; it decides the dates of the site.")
    certificate_needed = serializers.BooleanField(
        help_text="Whether the owner takes no test read with an instrument out of date"
    )
    retired_on = serializers.DateField(allow_null=True)


class SiteChange(serializers.Serializer):
    """What is left out stays as it is."""

    name = serializers.CharField(max_length=80, required=False)
    address = serializers.CharField(max_length=400, required=False, allow_blank=True)
    country = serializers.CharField(max_length=60, required=False, allow_blank=True)
    time_zone = serializers.CharField(max_length=40, required=False)
    certificate_needed = serializers.BooleanField(required=False)


class SystemShape(serializers.Serializer):
    key = serializers.UUIDField()
    name = serializers.CharField()
    site = Ref()
    kind = choice(queries.SYSTEM_KINDS)
    hazard = serializers.CharField(allow_blank=True)
    fuel = choice(queries.FUELS)
    minimum_flow = Quantity()
    design_flow = Quantity()
    required_minutes = serializers.FloatField()
    criterion = serializers.CharField()
    custom_lower = Figure(allow_null=True, help_text="%; only under limits of its own")
    custom_upper = Figure(allow_null=True, help_text="%; only under limits of its own")
    criterion_source = serializers.CharField(allow_blank=True)
    commissioned_on = serializers.DateField()
    retired_on = serializers.DateField(allow_null=True)


class FlowPointShape(serializers.Serializer):
    key = serializers.UUIDField()
    name = serializers.CharField()
    flow = Quantity()
    retired_on = serializers.DateField(allow_null=True)


class ProportionerShape(serializers.Serializer):
    key = serializers.UUIDField()
    tag = serializers.CharField()
    system = Ref()
    site = Ref(source="system.site")
    tank = Ref()
    kind = choice(queries.PROPORTIONER_KINDS)
    nominal_percent = Figure(help_text="% by volume")
    lowest_listed_flow = Quantity(allow_null=True)
    highest_listed_flow = Quantity(allow_null=True)
    flow_points = FlowPointShape(many=True, source="flow_points.all")
    retired_on = serializers.DateField(allow_null=True)


class ProportionerWholeShape(ProportionerShape):
    """With the lists that a test day goes through."""

    flush = serializers.ListField(
        child=serializers.CharField(), source="flush_order",
        help_text="Steps of stop and flush, in the order of the maker's manual",
    )  # fmt: skip
    put_back = serializers.SerializerMethodField()

    @extend_schema_field(
        serializers.ListField(
            child=serializers.CharField(), help_text="What is put back after a test, line by line"
        )
    )
    def get_put_back(self, row: Any) -> list[str]:
        return things.lines_to_put_back(row)[0]


class EquipmentShape(serializers.Serializer):
    key = serializers.UUIDField()
    tag = serializers.CharField()
    site = Ref()
    system = Ref(allow_null=True)
    tank = Ref(allow_null=True)
    kind = choice(things.EQUIPMENT_KINDS)
    variety = serializers.CharField(allow_blank=True)
    name = serializers.CharField(allow_blank=True)
    place = serializers.CharField(allow_blank=True)
    pieces = serializers.IntegerField()
    position = serializers.CharField(allow_blank=True, help_text="How a valve normally stands")
    size = serializers.CharField(allow_blank=True)
    maker = serializers.CharField(allow_blank=True)
    model = serializers.CharField(allow_blank=True)
    serial_number = serializers.CharField(allow_blank=True)
    installed_on = serializers.DateField(allow_null=True)
    retired_on = serializers.DateField(allow_null=True)


class FindAt(Find):
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")


class FindSystems(FindAt):
    kind = choice(queries.SYSTEM_KINDS, required=False)
    fuel = choice(queries.FUELS, required=False)


class FindProportioners(FindAt):
    kind = choice(queries.PROPORTIONER_KINDS, required=False)


class FindEquipment(FindAt):
    kind = choice(things.EQUIPMENT_KINDS, required=False)


def wanted(asked: dict[str, Any], *narrows: str) -> Wanted:
    """What the parameters ask of a list, as pages ask it."""
    narrow = {name: str(asked[name]) for name in narrows if name in asked}
    return Wanted(find=asked.get("find", ""), shown=asked.get("shown", "all"), narrow=narrow)


class Sites(ListView):
    shape, query = SiteShape, Find

    def rows(self) -> Any:
        return queries.sites(self.actor, wanted(self.asked))

    @describe_list("list_sites", "Sites", SiteShape, Find)
    def get(self, request: Request) -> Response:
        """Those that you own, where you are engaged today, or that are in your jurisdiction."""
        return self.listed()


class Site(View):
    scopes = {"GET": "read", "PATCH": "registry"}

    @describe_one("read_site", "One site", SiteShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(SiteShape, queries.site(self.actor, key)))

    @describe(
        "change_site", "Change a site", request=SiteChange, responses={200: SiteShape},
        parameters=[MATCH],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """Only its owner can. In another time zone its day may be another one, and so may where
        its duties stand."""
        return changed(
            self, SiteShape, SiteChange, find=lambda: queries.site(self.actor, key),
            form=lambda row: SiteForm, what="change a site",
            write=lambda row, values: change_site(actor=self.actor, site=row, **values),
        )  # fmt: skip


class Systems(ListView):
    shape, query = SystemShape, FindSystems

    def rows(self) -> Any:
        return queries.systems(self.actor, wanted(self.asked, "site", "kind", "fuel"))

    @describe_list("list_systems", "Foam systems", SystemShape, FindSystems)
    def get(self, request: Request) -> Response:
        return self.listed()


class System(View):
    @describe_one("read_system", "One foam system", SystemShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(SystemShape, queries.system(self.actor, key)))


class Proportioners(ListView):
    shape, query = ProportionerShape, FindProportioners

    def rows(self) -> Any:
        rows = queries.proportioners(self.actor, wanted(self.asked, "site", "kind"))
        return rows.prefetch_related("flow_points")

    @describe_list("list_proportioners", "Proportioners", ProportionerShape, FindProportioners)
    def get(self, request: Request) -> Response:
        """With their flow points, retired ones too."""
        return self.listed()


class Proportioner(View):
    @describe_one("read_proportioner", "One proportioner", ProportionerWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        row = queries.proportioner(self.actor, key)
        return self.tagged(self.shown(ProportionerWholeShape, row))


class EquipmentList(ListView):
    shape, query = EquipmentShape, FindEquipment

    def rows(self) -> Any:
        return things.equipment_list(self.actor, wanted(self.asked, "site", "kind"))

    @describe_list("list_equipment", "Equipment", EquipmentShape, FindEquipment)
    def get(self, request: Request) -> Response:
        """Valves, strainers and whatever else only needs inspecting."""
        return self.listed()


class Equipment(View):
    @describe_one("read_equipment", "One piece of equipment", EquipmentShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(EquipmentShape, things.equipment(self.actor, key)))


urls: list[URLPattern] = [
    path("sites/", Sites.as_view(), name="sites"),
    path("sites/<uuid:key>/", Site.as_view(), name="site"),
    path("systems/", Systems.as_view(), name="systems"),
    path("systems/<uuid:key>/", System.as_view(), name="system"),
    path("proportioners/", Proportioners.as_view(), name="proportioners"),
    path("proportioners/<uuid:key>/", Proportioner.as_view(), name="proportioner"),
    path("equipment/", EquipmentList.as_view(), name="equipment_list"),
    path("equipment/<uuid:key>/", Equipment.as_view(), name="equipment"),
]
