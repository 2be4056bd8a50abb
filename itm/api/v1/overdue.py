"""Where an overdue duty is a deficiency: which rules hold, said and ended as on the page."""

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
from itm.api.v1.findings import CLASSES
from itm.api.v1.shapes import Ref
from itm.api.views import ListView, View
from itm.core.errors import Refused
from itm.findings import overdue
from itm.registry import queries as registry
from itm.schedule import wording

SEVERITIES = {word: number for number, word in CLASSES.items()}


class RowShape(serializers.Serializer):
    """A row of a programme, by the codes that stay the same through all its editions."""

    programme = serializers.CharField(source="programme.code")
    row = serializers.CharField(source="code")
    name = serializers.CharField(source="__str__", help_text="What is asked, in words")


class OverdueRuleShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    about = RowShape(source="requirement")
    severity = serializers.SerializerMethodField(help_text="impairment, critical or noncritical")
    because = serializers.CharField(help_text="Stands on every deficiency that it opens")
    adopter = Ref(help_text="The owner or the authority that said so")
    adopted_by = serializers.CharField()
    holds = serializers.SerializerMethodField()
    starts_on = serializers.DateField()
    ended_on = serializers.DateField(allow_null=True)

    def get_severity(self, row: Any) -> str:
        return CLASSES[row.severity]

    def get_holds(self, row: Any) -> bool:
        return row.ended_on is None


class ByProgrammeShape(serializers.Serializer):
    """What the row of the programme itself says."""

    severity = serializers.CharField()
    holds = serializers.BooleanField(
        help_text="False: nobody looked it up, so it only proposes a class"
    )
    source = serializers.CharField()  # type: ignore[assignment]
    confidence = serializers.CharField()


class AskedRowShape(RowShape):
    edition = serializers.CharField(source="programme.edition")
    when = serializers.CharField()
    applies_to = serializers.SerializerMethodField()
    everywhere = serializers.BooleanField(
        source="programme.everywhere",
        help_text="What is said of it goes on for whichever row asks for the same here",
    )
    by_programme = serializers.SerializerMethodField()
    rules = OverdueRuleShape(many=True, help_text="Those that hold; the worst class counts")

    def get_applies_to(self, row: Any) -> str:
        return wording.applies_to(row)

    @extend_schema_field(ByProgrammeShape(allow_null=True))
    def get_by_programme(self, row: Any) -> dict[str, Any] | None:
        if not row.overdue_class:
            return None
        return {
            "severity": CLASSES[row.overdue_class],
            "holds": row.says_overdue,
            "source": row.overdue_source,
            "confidence": row.overdue_confidence,
        }


class SiteOverdueShape(serializers.Serializer):
    site = Ref()
    may_say = serializers.BooleanField(
        help_text="Whether you say so here: a supervisor or manager of its owner or its authority"
    )
    rows = AskedRowShape(many=True, help_text="All that asks for something at the site")


class OverdueRuleGiven(serializers.Serializer):
    site = serializers.UUIDField()
    programme = serializers.CharField(max_length=60, help_text="Code of the programme")
    row = serializers.CharField(max_length=40, help_text="Code of its row")
    severity = serializers.ChoiceField(choices=[*SEVERITIES])
    because = serializers.CharField(max_length=200, help_text="Why, or the paper that says so")


class OverdueRuleEnded(serializers.Serializer):
    holds = serializers.BooleanField(
        help_text="False ends it. What was ended is said anew and never brought back."
    )


class FindOverdueRules(ListAsked):
    standing = serializers.ChoiceField(choices=["holding", "ended", "all"], default="holding")
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    adopter = serializers.UUIDField(
        required=False, help_text="Only what the organisation with this key has said."
    )


EXAMPLE = {
    "site": "5b0a1c2d-3e4f-4a5b-8c6d-7e8f9a0b1c2d",
    "programme": "yearly-test-and-check",
    "row": "annual-proportioning-test",
    "severity": "critical",
    "because": "Fire plan of the invented terminal, chapter 3",
}


class OverdueRules(ListView):
    shape, query, pages = OverdueRuleShape, FindOverdueRules, Pages("starts_on")
    scopes = {"GET": "read", "POST": "rules"}

    def rows(self) -> Any:
        rows = overdue.all_rules(self.actor)
        if (standing := self.asked["standing"]) != "all":
            rows = rows.filter(ended_on__isnull=standing == "holding")
        return rows.filter(
            **{
                f"{name}__key": self.asked[name]
                for name in ("site", "adopter")
                if name in self.asked
            }
        )

    @describe_list(
        "list_overdue_rules", "Rules that make a deficiency of an overdue duty", OverdueRuleShape,
        FindOverdueRules,
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        """In the order in which they were said. What a programme says by itself stands with the
        rows of the site."""
        return self.listed()

    @describe(
        "say_overdue", "Say that overdue is a deficiency", request=OverdueRuleGiven,
        responses={201: OverdueRuleShape}, parameters=[KEY],
        examples=[OpenApiExample("A yearly test (invented)", value=EXAMPLE, request_only=True)],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """By the owner of the site or its authority, from today on and also for what is overdue
        already: that opens at once. Said again it takes the place of what your organisation said
        before. A person closes what it opens."""
        body = given(OverdueRuleGiven, request.data)

        def do(_: uuid.UUID) -> Any:
            now = timezone.now()
            with named_at("site"):
                site = registry.site(self.actor, body["site"])
            overdue.require_say(self.actor, site)
            made = overdue.say_overdue(
                actor=self.actor, site=site, severity=SEVERITIES[body["severity"]],
                requirement=overdue.row_named(site, now, body["programme"], body["row"]),
                because=body["because"], at=now,
            )  # fmt: skip
            return self.shown(OverdueRuleShape, made)

        response = answered(request, "overdue_rule", do)
        response["Location"] = reverse("v1:overdue_rule", args=[response.data["key"]])
        return response


class OverdueRule(View):
    scopes = {"GET": "read", "PATCH": "rules"}

    @describe_one("read_overdue_rule", "One such rule", OverdueRuleShape)
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(OverdueRuleShape, overdue.rule(self.actor, key)))

    @describe(
        "end_overdue_rule", "End such a rule", request=OverdueRuleEnded,
        responses={200: OverdueRuleShape}, parameters=[MATCH],
        examples=[OpenApiExample("It holds no more", value={"holds": False}, request_only=True)],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """By whoever said so. What it opened stays until a person ends it."""
        return settled(
            self, OverdueRuleShape, OverdueRuleEnded,
            find=lambda: overdue.rule(self.actor, key),
            may=lambda row: overdue.require_sayer(self.actor, row), write=self.write,
        )  # fmt: skip

    def write(self, row: Any, values: dict[str, Any]) -> None:
        if not values["holds"]:
            overdue.end_overdue(actor=self.actor, rule=row, at=timezone.now())
        elif row.ended_on is not None:
            raise Refused("ended", "It was ended; say it anew, as another rule.", "holds")


class SiteOverdue(View):
    @describe_one(
        "read_overdue_of_site", "What asks for something at a site, and what overdue is there",
        SiteOverdueShape,
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> Response:
        """Every row that asks for something there with the rules that hold for it. A duty that is
        overdue is on the lists of duties in any case; local codes come first."""
        site = registry.site(self.actor, key)
        said = list(overdue.rules_at(site))
        rows = overdue.rows_at(site, timezone.now())
        for row, when in rows:
            row.when, row.rules = when, [rule for rule in said if overdue.is_about(rule, row)]  # type: ignore[attr-defined]
        may = overdue.may_say(self.actor, site)
        told = {"site": site, "may_say": may, "rows": [row for row, _ in rows]}
        return self.tagged(self.shown(SiteOverdueShape, told))


urls: list[URLPattern] = [
    path("overdue-rules/", OverdueRules.as_view(), name="overdue_rules"),
    path("overdue-rules/<uuid:key>/", OverdueRule.as_view(), name="overdue_rule"),
    path("sites/<uuid:key>/overdue/", SiteOverdue.as_view(), name="site_overdue"),
]
