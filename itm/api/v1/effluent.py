"""What came out, was caught, got away and was hauled off: its lines, and whether they add up."""

from typing import Any
from uuid import UUID

from django.urls import URLPattern, path
from drf_spectacular.utils import OpenApiExample
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.asking import Asked, ListAsked, Pages
from itm.api.describing import describe_list, describe_one
from itm.api.v1.shapes import Figure, Quantity, Ref, choice
from itm.api.views import ListView, View
from itm.records import effluent, queries
from itm.records.effluent import Kind, Pfas
from itm.registry import queries as registry

LITRES = "0 L"  # programs read one unit beside SI


class EffluentLineShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    visit = serializers.UUIDField(
        source="visit.key", allow_null=True, default=None, help_text="Null: of no test day"
    )
    organisation = Ref(help_text="Who noted it")
    kind = choice(Kind.choices)
    happened_on = serializers.DateField(help_text="On the clock of the site")
    volume = Quantity(help_text="Of liquid, not of foam")
    percent = Figure(allow_null=True, help_text="% by volume of concentrate in it")
    pfas = choice(Pfas.choices)
    place = serializers.CharField(allow_blank=True, help_text="Where it stands, or where it went")
    hauler = serializers.CharField(allow_blank=True, help_text="Who took it away")
    paper = serializers.CharField(allow_blank=True, help_text="Number of the waste paper")
    note = serializers.CharField(allow_blank=True)
    replaces = serializers.UUIDField(
        source="replaces.key", allow_null=True, default=None,
        help_text="The wrong line in whose place it stands",
    )  # fmt: skip
    replaced_by = serializers.UUIDField(source="replaced_by.key", allow_null=True, default=None)
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_by = serializers.CharField(allow_blank=True)
    withdrawn_because = serializers.CharField(allow_blank=True)


class SumField(serializers.FloatField):
    """A sum of the balance, or null where nobody noted any of that kind."""

    def __init__(self, said: str) -> None:
        super().__init__(source="*", read_only=True, allow_null=True, help_text=said)

    def to_representation(self, value: Any) -> Any:
        name = str(self.field_name)
        return getattr(value, name) if name in value.noted else None


class BalanceShape(serializers.Serializer):
    discharged = SumField("m³ of liquid; null: nobody noted any")
    collected = SumField("m³; null: nobody noted any")
    released = SumField("m³ that was not collected; null: nobody noted any")
    hauled = SumField("m³; null: nobody noted any")
    unaccounted = serializers.FloatField(
        help_text="m³ discharged and noted neither as collected nor as not collected; below 0 "
        "where more was collected or got away than is noted as discharged"
    )
    on_site = serializers.FloatField(
        help_text="m³ collected and not noted as hauled away; below 0 where more was hauled away"
    )
    differences = serializers.SerializerMethodField(
        help_text="What does not add up, in words and litres. Nobody judges it here."
    )

    def get_differences(self, row: Any) -> list[str]:
        said: list[str] = row.differences(LITRES)
        return said


class OccasionShape(serializers.Serializer):
    visit = serializers.UUIDField(allow_null=True, help_text="Null: of no test day")
    balance = BalanceShape()


class EffluentOfSiteShape(serializers.Serializer):
    site = Ref()
    balance = BalanceShape(help_text="Of all that is told; withdrawn lines are in no sum")
    occasions = OccasionShape(many=True)


class AtLeastShape(serializers.Serializer):
    volume = serializers.FloatField(help_text="m³, by flow and time of the runs that you may see")
    runs = serializers.IntegerField(help_text="Of how many runs")


class EffluentOfVisitShape(serializers.Serializer):
    visit = serializers.UUIDField()
    balance = BalanceShape()
    at_least = AtLeastShape(
        help_text="What the runs discharged for certain; what ran before foam was seen, after the "
        "last sample and at the flush is not in it"
    )
    lines = EffluentLineShape(many=True)


class FindEffluent(ListAsked):
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    visit = serializers.UUIDField(required=False, help_text="Only of the visit with this key.")
    kind = choice(Kind.choices, required=False)
    pfas = choice(Pfas.choices, required=False)
    stands = serializers.ChoiceField(
        choices=["standing", "withdrawn"], required=False,
        help_text="Only those that count, or only those that were withdrawn.",
    )  # fmt: skip
    since = serializers.DateField(required=False, help_text="Of this day or later.")
    until = serializers.DateField(required=False, help_text="Of this day or before.")


class FindOfSite(Asked):
    since = serializers.DateField(required=False, help_text="Lines of this day or later.")
    until = serializers.DateField(required=False, help_text="Lines of this day or before.")


COLUMNS = {
    "site": "site__key", "visit": "visit__key", "kind": "kind", "pfas": "pfas",
    "since": "happened_on__gte", "until": "happened_on__lte",
}  # fmt: skip

LINE_EXAMPLE = {
    "key": "0c9d8e7f-6a5b-4c3d-8e1f-2a3b4c5d6e7f",
    "site": {"key": "5b0a1c2d-3e4f-4a5b-8c6d-7e8f9a0b1c2d", "name": "Invented terminal"},
    "visit": "7e6d5c4b-3a29-4817-9605-f4e3d2c1b0a9",
    "organisation": {"key": "1d2c3b4a-5f6e-4d7c-8b9a-0f1e2d3c4b5a", "name": "Invented crew"},
    "kind": "hauled",
    "happened_on": "2026-05-11",
    "volume": {"typed": "3500 L", "si": 3.5},
    "percent": "3",
    "pfas": "contains",
    "place": "Invented plant for liquid waste",
    "hauler": "Invented haulier",
    "paper": "W-2026-17",
    "note": "",
    "replaces": None,
    "replaced_by": None,
    "withdrawn_at": None,
    "withdrawn_by": "",
    "withdrawn_because": "",
}
BALANCE_EXAMPLE = {
    "discharged": 4.0,
    "collected": 3.5,
    "released": None,
    "hauled": 3.5,
    "unaccounted": 0.5,
    "on_site": 0.0,
    "differences": [
        "500 L of what was discharged is noted neither as collected nor as not collected."
    ],
}
SITE_EXAMPLE = {
    "site": LINE_EXAMPLE["site"],
    "balance": BALANCE_EXAMPLE,
    "occasions": [{"visit": LINE_EXAMPLE["visit"], "balance": BALANCE_EXAMPLE}],
}
VISIT_EXAMPLE = {
    "visit": LINE_EXAMPLE["visit"],
    "balance": BALANCE_EXAMPLE,
    "at_least": {"volume": 3.1, "runs": 2},
    "lines": [LINE_EXAMPLE],
}


def told(name: str, value: dict[str, Any]) -> list[OpenApiExample]:
    return [OpenApiExample(f"{name} (invented)", value=value, response_only=True)]


def narrowed(rows: Any, asked: dict[str, Any]) -> Any:
    """As the address asks; a site or visit that is not to be seen has no lines."""
    rows = rows.filter(**{to: asked[name] for name, to in COLUMNS.items() if name in asked})
    if "stands" in asked:
        rows = rows.filter(withdrawn_at__isnull=asked["stands"] == "standing")
    return rows


class EffluentLines(ListView):
    shape, query, pages = EffluentLineShape, FindEffluent, Pages("-happened_on")

    def rows(self) -> Any:
        return narrowed(effluent.lines(self.actor), self.asked)

    @describe_list(
        "list_effluent", "Effluent", EffluentLineShape, FindEffluent,
        examples=told("A load that was hauled away", LINE_EXAMPLE),
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        """The newest day first. A wrong line is withdrawn and stays to be read; it counts for
        nothing. Waste papers come weeks later, so the list of a test day may grow."""
        return self.listed()


class EffluentLine(View):
    @describe_one(
        "read_effluent_line", "One line of effluent", EffluentLineShape,
        examples=told("A load that was hauled away", LINE_EXAMPLE),
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> Response:
        return self.tagged(self.shown(EffluentLineShape, effluent.line(self.actor, key)))


class EffluentOfSite(View):
    query = FindOfSite

    @describe_one(
        "read_effluent_of_site", "Whether the effluent of a site adds up", EffluentOfSiteShape,
        parameters=[FindOfSite], examples=told("A test day", SITE_EXAMPLE),
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> Response:
        """Sums of all, and of each test day. What nobody noted is null and not 0. What a release
        has to be told, and to whom, local rules say."""
        site = registry.site(self.actor, key)
        rows = narrowed(effluent.lines(self.actor).filter(site=site), self.asked)
        lines = list(rows.order_by("-happened_on", "-pk"))
        whole = {
            "site": site,
            "balance": effluent.balance(lines),
            "occasions": [
                {"visit": one.visit.key if one.visit else None, "balance": one.balance}
                for one in effluent.occasions(lines)
            ],
        }
        return self.tagged(self.shown(EffluentOfSiteShape, whole))


class EffluentOfVisit(View):
    @describe_one(
        "read_effluent_of_visit", "Effluent of a visit", EffluentOfVisitShape,
        examples=told("Half of a cubic metre is missing", VISIT_EXAMPLE),
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> Response:
        """Its lines, the newest first and withdrawn ones too, with their sums and what the runs
        discharged for certain."""
        visit = queries.visit(self.actor, key)
        rows = effluent.lines(self.actor).filter(visit=visit)
        lines = list(rows.order_by("-happened_on", "-pk"))
        whole = {
            "visit": visit.key,
            "balance": effluent.balance(lines),
            "at_least": effluent.at_least(self.actor, visit),
            "lines": lines,
        }
        return self.tagged(self.shown(EffluentOfVisitShape, whole))


urls: list[URLPattern] = [
    path("effluent/", EffluentLines.as_view(), name="effluent"),
    path("effluent/<uuid:key>/", EffluentLine.as_view(), name="effluent_line"),
    path("sites/<uuid:key>/effluent/", EffluentOfSite.as_view(), name="site_effluent"),
    path("visits/<uuid:key>/effluent/", EffluentOfVisit.as_view(), name="visit_effluent"),
]
