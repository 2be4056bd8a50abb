"""How long records are kept: rules with their sources, and the periods that hold at sites."""

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
from itm.api.problems import named_at
from itm.api.v1.shapes import Ref, choice
from itm.api.views import ListView, View
from itm.registry import queries as registry
from itm.retention import overview, setting

KINDS = [*overview.KINDS.items()]
MOST_SITES = 500  # at once; own choice


class HeldShape(serializers.Serializer):
    period = serializers.UUIDField(source="key")
    site = Ref()
    starts_on = serializers.DateField()
    checked_against = serializers.CharField(allow_blank=True)


class KeepingRuleShape(serializers.Serializer):
    code = serializers.CharField()
    kinds = serializers.ListField(child=choice(KINDS))
    years = serializers.IntegerField()
    counts_from = serializers.CharField(
        help_text="done, next (of its kind) or life (of what it belongs to)"
    )
    how_long = serializers.CharField()
    words = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    edition = serializers.CharField(allow_blank=True)
    confidence = serializers.CharField()
    needs_confirmation = serializers.BooleanField(
        help_text="Whether it asks what it was compared with"
    )
    held_at = serializers.SerializerMethodField()

    @extend_schema_field(HeldShape(many=True))
    def get_held_at(self, row: Any) -> list[dict[str, Any]]:
        rows = self.context["held"].get(row.pk, [])
        return HeldShape(rows, many=True).data  # type: ignore[return-value]


class KeepingPeriodShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    rule = serializers.CharField(
        source="rule.code", allow_null=True, default=None, help_text="Null: the owner's own"
    )
    kinds = serializers.SerializerMethodField()
    how_long = serializers.CharField()
    why = serializers.CharField(allow_blank=True, help_text="Of the owner's own")
    checked_against = serializers.CharField(allow_blank=True)
    set_by = serializers.CharField()
    starts_on = serializers.DateField()
    ended_on = serializers.DateField(allow_null=True)
    ended_by = serializers.CharField(allow_blank=True)
    ended_why = serializers.CharField(allow_blank=True)

    @extend_schema_field(serializers.ListField(child=choice(KINDS)))
    def get_kinds(self, row: Any) -> list[str]:
        return sorted(setting.as_period(row).kinds)


class AdoptedShape(serializers.Serializer):
    made = KeepingPeriodShape(many=True, help_text="Where it held already, nothing was made")


class AdoptionGiven(serializers.Serializer):
    rule = serializers.CharField(max_length=60, help_text="Code of the rule")
    sites = serializers.ListField(
        child=serializers.UUIDField(), allow_empty=False, max_length=MOST_SITES
    )
    checked_against = serializers.CharField(
        max_length=200, default="", allow_blank=True,
        help_text="The law, edition or paper that it was compared with; needed where nobody has "
        "looked the rule up",
    )  # fmt: skip


class OwnPeriodGiven(serializers.Serializer):
    site = serializers.UUIDField()
    kind = choice(KINDS)
    years = serializers.IntegerField(min_value=1, max_value=setting.MOST_YEARS)
    why = serializers.CharField(max_length=300)


class PeriodEnded(serializers.Serializer):
    ended_why = serializers.CharField(max_length=300, help_text="Why it no longer holds here")


class FindPeriods(ListAsked):
    standing = serializers.ChoiceField(choices=["holding", "ended", "all"], default="holding")
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")


ADOPTION_EXAMPLE = {
    "rule": "eu-pfas-plan",
    "sites": ["5b0a1c2d-3e4f-4a5b-8c6d-7e8f9a0b1c2d"],
    "checked_against": "The text that the invented owner's lawyer named",
}
OWN_EXAMPLE = {
    "site": "5b0a1c2d-3e4f-4a5b-8c6d-7e8f9a0b1c2d", "kind": "test", "years": 20,
    "why": "Our insurer asks for it (invented)",
}  # fmt: skip
ENDED_EXAMPLE = {"ended_why": "The site was sold (invented)"}


class KeepingRules(ListView):
    shape, query, pages = KeepingRuleShape, ListAsked, Pages("position")

    def rows(self) -> Any:
        overview.require_overview(self.actor)
        return setting.all_rules()

    def context(self) -> dict[str, Any]:
        return {"held": setting.holding(self.actor)}

    @describe_list("list_keeping_rules", "Rules of keeping", KeepingRuleShape, ListAsked)
    def get(self, request: Request) -> Response:
        """How long the law or a standard wants records to be kept at least, and where a rule holds.
        One counts only where its owner has adopted it. Local law comes first. For a supervisor or
        manager of an owner."""
        return self.listed()


class KeepingAdoptions(View):
    scopes = {"POST": "rules"}

    @describe(
        "adopt_keeping_rule", "Adopt a rule of keeping", request=AdoptionGiven,
        responses={201: AdoptedShape}, parameters=[KEY],
        examples=[OpenApiExample("At one site (invented)", value=ADOPTION_EXAMPLE,
                                 request_only=True)],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """By a supervisor or manager of the owner, from today on, at all of these sites or at
        none."""
        overview.require_overview(self.actor)
        body = given(AdoptionGiven, request.data)

        def do(_: uuid.UUID) -> Any:
            with named_at("rule"):
                rule = setting.rule(body["rule"])
            sites = []
            for place, key in enumerate(body["sites"]):
                with named_at("sites", place):
                    sites.append(registry.site(self.actor, key))
            made = setting.adopt(
                actor=self.actor, rule=rule, sites=sites, at=timezone.now(),
                checked_against=body["checked_against"],
            )  # fmt: skip
            return self.shown(AdoptedShape, {"made": made})

        return answered(request, "keeping_adoption", do)


class KeepingPeriods(ListView):
    shape, query, pages = KeepingPeriodShape, FindPeriods, Pages("starts_on")
    scopes = {"GET": "read", "POST": "rules"}

    def rows(self) -> Any:
        rows = overview.all_periods(self.actor)
        if (standing := self.asked["standing"]) != "all":
            rows = rows.filter(ended_on__isnull=standing == "holding")
        return rows.filter(site__key=self.asked["site"]) if "site" in self.asked else rows

    @describe_list(
        "list_keeping_periods", "Periods of keeping", KeepingPeriodShape, FindPeriods
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        """Rules as they were adopted, and periods of the owner's own, in the order of their days.
        All that hold count, and the longest decides."""
        return self.listed()

    @describe(
        "set_keeping_period", "Set a period of the owner’s own", request=OwnPeriodGiven,
        responses={201: KeepingPeriodShape}, parameters=[KEY],
        examples=[OpenApiExample("Tests (invented)", value=OWN_EXAMPLE, request_only=True)],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """By a supervisor or manager of the owner. It counts beside the rules that hold. One that
        is shorter than such a rule, or than what is set already, would change nothing and is
        refused; a longer one takes the place of the one before."""
        overview.require_overview(self.actor)
        body = given(OwnPeriodGiven, request.data)
        key_of_site = body.pop("site")

        def do(_: uuid.UUID) -> Any:
            with named_at("site"):
                site = registry.site(self.actor, key_of_site)
            made = setting.set_own(actor=self.actor, site=site, at=timezone.now(), **body)
            return self.shown(KeepingPeriodShape, made)

        response = answered(request, "keeping_period", do)
        response["Location"] = reverse("v1:keeping_period", args=[response.data["key"]])
        return response


class KeepingPeriod(View):
    scopes = {"GET": "read", "PATCH": "rules"}

    @describe_one("read_keeping_period", "One period of keeping", KeepingPeriodShape)
    def get(self, request: Request, key: UUID) -> Response:
        row = setting.period(self.actor, key)
        setting.require_keeper(self.actor, row.site)
        return self.tagged(self.shown(KeepingPeriodShape, row))

    @describe(
        "end_keeping_period", "End a period of keeping", request=PeriodEnded,
        responses={200: KeepingPeriodShape}, parameters=[MATCH],
        examples=[OpenApiExample("A site that was sold", value=ENDED_EXAMPLE, request_only=True)],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """Today is its last day. What was kept by it alone may then be past its period; it stays
        all the same until a person decides otherwise."""
        return settled(
            self, KeepingPeriodShape, PeriodEnded,
            find=lambda: setting.period(self.actor, key),
            may=lambda row: setting.require_keeper(self.actor, row.site),
            write=lambda row, values: setting.end(
                actor=self.actor, row=row, why=values["ended_why"], at=timezone.now()
            ),
        )  # fmt: skip


urls: list[URLPattern] = [
    path("keeping/rules/", KeepingRules.as_view(), name="keeping_rules"),
    path("keeping/adoptions/", KeepingAdoptions.as_view(), name="keeping_adoptions"),
    path("keeping/periods/", KeepingPeriods.as_view(), name="keeping_periods"),
    path("keeping/periods/<uuid:key>/", KeepingPeriod.as_view(), name="keeping_period"),
]
