"""Orders of an authority, each with a day: read, made, seen by the owner, met."""

import uuid
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
from itm.findings import asking, queries, visiting
from itm.registry import queries as registry


class OrderShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    organisation = Ref(help_text="The authority that made it")
    finding = serializers.UUIDField(source="deficiency.key", allow_null=True, default=None)
    authority_visit = serializers.SerializerMethodField(
        help_text="The visit that it came of, for those who see visits of an authority"
    )
    words = serializers.CharField(help_text="What has to be done")
    due_on = serializers.DateField(help_text="On the clock of the site")
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField(source="made_by_name")
    seen_at = serializers.DateTimeField(allow_null=True, help_text="When the owner read it")
    seen_by = serializers.CharField(allow_blank=True)
    met_at = serializers.DateTimeField(allow_null=True)
    met_by = serializers.CharField(allow_blank=True)
    met_words = serializers.CharField(allow_blank=True, help_text="What shows that it is met")
    withdrawn_at = serializers.DateTimeField(allow_null=True, help_text="Made by mistake")
    withdrawn_by = serializers.CharField(allow_blank=True)
    withdrawn_because = serializers.CharField(allow_blank=True)

    @extend_schema_field(serializers.UUIDField(allow_null=True))
    def get_authority_visit(self, row: Any) -> str | None:
        visit = row.authority_visit if self.context["actor"].kind != "contractor" else None
        return str(visit.key) if visit else None


class FindOrders(ListAsked):
    standing = serializers.ChoiceField(choices=["open", "met", "withdrawn", "all"], default="open")
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")


class OrderGiven(serializers.Serializer):
    site = serializers.UUIDField()
    finding = serializers.UUIDField(required=False, help_text="The deficiency that it is about")
    authority_visit = serializers.UUIDField(required=False, help_text="The visit it came of")
    words = serializers.CharField(max_length=1000, help_text="What has to be done")
    due_on = serializers.DateField(help_text="By the end of this day, on the clock of the site")


class OrderStep(serializers.Serializer):
    """One of the three: the owner has seen it, or the authority says by what it is met or why it
    is withdrawn."""

    seen = serializers.ChoiceField(choices=[True], required=False)
    met_words = serializers.CharField(
        max_length=400, required=False, help_text="What shows that it is met"
    )
    withdrawn_because = serializers.CharField(
        max_length=200, required=False, help_text="Why it was a mistake"
    )


MADE = {
    "site": "5b0a1c2d-3e4f-4a5b-8c6d-7e8f9a0b1c2d",
    "words": "Seal the two valves in the pump room (invented)",
    "due_on": "2027-01-15",
}


class Orders(ListView):
    shape, query, pages = OrderShape, FindOrders, Pages("due_on")
    scopes = {"GET": "read", "POST": "hand_in"}

    def rows(self) -> Any:
        rows = queries.all_orders(self.actor)
        stands = self.asked["standing"]
        rows = queries.orders_standing(rows, "closed" if stands == "met" else stands)
        return rows.filter(site__key=self.asked["site"]) if "site" in self.asked else rows

    @describe_list("list_orders", "Orders of an authority", OrderShape, FindOrders)
    def get(self, request: Request) -> Response:
        """Those that are not met, by their day."""
        return self.listed()

    @describe(
        "make_order", "Order something by a day", request=OrderGiven,
        responses={201: OrderShape}, parameters=[KEY],
        examples=[OpenApiExample("Two valves (invented)", value=MADE, request_only=True)],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """By an authority of the site, on the site, on a deficiency of it or on a visit of its own.
        The owner is told at once."""
        body = given(OrderGiven, request.data)

        def do(_: uuid.UUID) -> Any:
            with named_at("site"):
                site = registry.site(self.actor, body["site"])
            row = asking.order(
                actor=self.actor, site=site, words=body["words"], due_on=body["due_on"],
                at=timezone.now(), deficiency=self.finding(body.get("finding")),
                authority_visit=self.came_of(body.get("authority_visit")),
            )  # fmt: skip
            return self.shown(OrderShape, queries.order(self.actor, row.key))

        response = answered(request, "order", do)
        response["Location"] = reverse("v1:order", args=[response.data["key"]])
        return response

    def finding(self, key: UUID | None) -> Any:
        if key is None:
            return None
        with named_at("finding"):
            return queries.deficiency(self.actor, key)

    def came_of(self, key: UUID | None) -> Any:
        if key is None:
            return None
        with named_at("authority_visit"):
            return visiting.visit(self.actor, key)


class Order(View):
    scopes = {"GET": "read", "PATCH": "hand_in"}

    @describe_one("read_order", "One order", OrderShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(OrderShape, queries.order(self.actor, key)))

    @describe(
        "settle_order", "Say that an order is seen, met or withdrawn", request=OrderStep,
        responses={200: OrderShape}, parameters=[MATCH],
        examples=[
            OpenApiExample("The owner", value={"seen": True}, request_only=True),
            OpenApiExample("The authority (invented)", request_only=True,
                           value={"met_words": "Both valves are sealed, seen on a visit"}),
        ],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """`seen` by the owner of the site, the others by the authority that made it."""
        return settled(
            self, OrderShape, OrderStep,
            find=lambda: queries.order(self.actor, key),
            may=lambda row: asking.require_step(self.actor, row),
            write=self.written,
        )  # fmt: skip

    def written(self, row: Any, values: dict[str, Any]) -> Any:
        if len(values) != 1:
            said = "Say one thing: “seen”, “met_words” or “withdrawn_because”."
            raise Problem(422, "not_valid", said, [fault("", "one_step", said)])
        at = timezone.now()
        if "seen" in values:
            return asking.see_order(actor=self.actor, order=row, at=at)
        if "withdrawn_because" in values:
            because = values["withdrawn_because"]
            with named_at("withdrawn_because"):
                return asking.withdraw_order(actor=self.actor, order=row, because=because, at=at)
        with named_at("met_words"):
            return asking.meet_order(actor=self.actor, order=row, words=values["met_words"], at=at)


urls: list[URLPattern] = [
    path("orders/", Orders.as_view(), name="orders"),
    path("orders/<uuid:key>/", Order.as_view(), name="order"),
]
