"""What is due, and where it stands."""

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
from itm.schedule import queries, sweep
from itm.schedule.told import told

STANDINGS = ["overdue", "due", "open", "ahead"]


class ThingShape(serializers.Serializer):
    kind = serializers.CharField(help_text="proportioner, tank, equipment, system or site")
    key = serializers.UUIDField()
    name = serializers.CharField()


class DutyShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    what = serializers.SerializerMethodField()
    where = serializers.SerializerMethodField()
    thing = serializers.SerializerMethodField()
    task = serializers.CharField(source="requirement.task")
    programme = serializers.CharField(source="requirement.programme.__str__")
    source = serializers.CharField(  # type: ignore[assignment]
        source="requirement.source", help_text="Where the row of the programme comes from"
    )
    cause = serializers.CharField()
    stands = serializers.ChoiceField(
        choices=[*STANDINGS, "at_rest"], help_text="at_rest: done, or on what is retired"
    )
    counts_from = serializers.DateField()
    window_opens_on = serializers.DateField()
    due_on = serializers.DateField()
    latest_on = serializers.DateField()
    done_on = serializers.DateField(allow_null=True)
    done_by_record = serializers.UUIDField(allow_null=True)
    evidence = serializers.JSONField(
        source="requirement.evidence", help_text="What a record of it holds; for an inspection"
    )

    def get_what(self, row: Any) -> str:
        return told(row).what

    def get_where(self, row: Any) -> str:
        return told(row).where

    @extend_schema_field(ThingShape)
    def get_thing(self, row: Any) -> dict[str, str]:
        said = told(row)
        return {"kind": said.page, "key": str(said.key), "name": str(row.thing)}


class FindDuties(ListAsked):
    standing = serializers.ChoiceField(
        choices=["asked", *STANDINGS, "done"], default="asked",
        help_text="“asked” are all that are open; “done” those that a record completed.",
    )  # fmt: skip
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    due_from = serializers.DateField(required=False)
    due_until = serializers.DateField(required=False)
    done_from = serializers.DateField(required=False)
    done_until = serializers.DateField(required=False)


class Duties(ListView):
    shape, query, pages = DutyShape, FindDuties, Pages("due_on")

    def rows(self) -> Any:
        sweep.catch_up(timezone.now())
        narrow = {name: str(self.asked[name]) for name in queries.NARROWS if name in self.asked}
        return queries.listed_duties(self.actor, self.asked["standing"], narrow)

    @describe_list("list_duties", "Duties", DutyShape, FindDuties)
    def get(self, request: Request) -> Response:
        """One row is one cycle. In the order of their due dates."""
        return self.listed()


class Duty(View):
    @describe_one("read_duty", "One duty", DutyShape)
    def get(self, request: Request, key: UUID) -> Response:
        sweep.catch_up(timezone.now())
        return self.tagged(self.shown(DutyShape, queries.duty(self.actor, key)))


urls: list[URLPattern] = [
    path("duties/", Duties.as_view(), name="duties"),
    path("duties/<uuid:key>/", Duty.as_view(), name="duty"),
]
