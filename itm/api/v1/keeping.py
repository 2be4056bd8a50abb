"""What is past its period of keeping, and what was decided about it.

A program decides nothing here. What is let go cannot be brought back, so a decision wants the proof
of a person who is there just now; a token proves that somebody made it once. Taking a decision back
lets every file stay, wants no proof on the page either, and is a program's to do.
"""

from typing import Any
from uuid import UUID

from django.urls import URLPattern, path
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.asking import Asked, ListAsked, Pages
from itm.api.describing import MATCH, describe, describe_list, describe_one
from itm.api.editing import settled
from itm.api.v1.keeping_rules import KINDS
from itm.api.v1.shapes import Ref, choice
from itm.api.views import ListView, View
from itm.core.errors import Refused
from itm.registry import queries as registry
from itm.retention import letting, overview

DECIDES = (
    "Deciding stays with a person: what is let go cannot be brought back, so it wants the proof of "
    "somebody who is there just now, and a token proves that somebody made it once."
)


class SiteKeptShape(serializers.Serializer):
    site = Ref()
    periods = serializers.IntegerField(help_text="That hold; without any all is kept")
    past = serializers.IntegerField(
        source="free", help_text="Files past their period, of which nobody has decided anything"
    )
    past_size = serializers.IntegerField(source="size", help_text="bytes")
    unsaid = serializers.IntegerField(
        help_text="Papers of which nobody has said what they are, where a period holds"
    )
    waiting = serializers.IntegerField(help_text="Decisions to let go that can still be undone")


class HeldBackShape(serializers.Serializer):
    why = serializers.CharField()
    files = serializers.IntegerField()


class KindKeptShape(serializers.Serializer):
    kind = choice(KINDS)
    periods = serializers.ListField(child=serializers.CharField(), help_text="In words")
    records = serializers.IntegerField()
    records_past = serializers.IntegerField()
    files = serializers.IntegerField()
    past = serializers.IntegerField(source="free", help_text="Files that may be decided about")
    past_size = serializers.IntegerField(source="size", help_text="bytes")
    held_back = serializers.SerializerMethodField()
    next_on = serializers.DateField(
        allow_null=True, help_text="The earliest day on which another file may go"
    )

    @extend_schema_field(HeldBackShape(many=True))
    def get_held_back(self, row: Any) -> list[dict[str, Any]]:
        return [{"why": why, "files": count} for why, count in row.held.items()]


class SiteKeptWholeShape(serializers.Serializer):
    site = Ref()
    kinds = KindKeptShape(many=True)
    unsaid = serializers.IntegerField(
        help_text="Papers of which nobody has said what they are: kept until somebody does"
    )
    days_to_undo = serializers.IntegerField(help_text="After a decision to let go")


class PastFileShape(serializers.Serializer):
    key = serializers.UUIDField(source="row.key")
    name = serializers.CharField(source="row.name")
    kind = choice(KINDS)
    of = serializers.CharField(help_text="What it belongs to")
    size = serializers.IntegerField(source="row.size", help_text="bytes")
    sha256 = serializers.CharField(source="row.sha256")
    free_from = serializers.DateField(help_text="First day on which it may go")
    under = serializers.CharField(help_text="The period that was over last")


class PastFilesShape(serializers.Serializer):
    site = Ref()
    count = serializers.IntegerField(help_text="Of all that there are")
    files = PastFileShape(
        many=True, help_text=f"The first {letting.MOST}, as many as one decision is about"
    )


class DecisionShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    kind = choice(KINDS)
    verb = serializers.CharField(help_text="keep or let_go")
    stands = serializers.CharField(
        help_text="waits, done, kept_on, taken_back; not_here: it was decided before the site came "
        "here in an archive, and is not carried out here"
    )
    reason = serializers.CharField()
    under = serializers.CharField(help_text="Rule and source, by value")
    until = serializers.DateField(allow_null=True, help_text="Kept on to this day")
    goes_at = serializers.DateTimeField(allow_null=True, help_text="Until then it can be undone")
    decided_by = serializers.CharField()
    decided_at = serializers.DateTimeField()
    done_at = serializers.DateTimeField(allow_null=True)
    taken_back_at = serializers.DateTimeField(allow_null=True)
    taken_back_by = serializers.CharField(allow_blank=True)


class DecidedFileShape(serializers.Serializer):
    name = serializers.CharField()
    of = serializers.CharField(help_text="What it belongs to")
    size = serializers.IntegerField(help_text="bytes")
    sha256 = serializers.CharField()
    free_from = serializers.DateField()
    became = serializers.SerializerMethodField(help_text="gone, stays, kept_on or waits")
    gone_at = serializers.DateTimeField(allow_null=True)
    stayed_why = serializers.CharField(allow_blank=True)

    def get_became(self, row: Any) -> str:
        return letting.became(row.decision, row)


class DecisionWholeShape(DecisionShape):
    may_be_taken_back = serializers.SerializerMethodField()
    files = DecidedFileShape(many=True, source="files.all")

    def get_may_be_taken_back(self, row: Any) -> bool:
        return letting.may_be_taken_back(row, timezone.now())


class TakenBack(serializers.Serializer):
    taken_back = serializers.BooleanField(
        help_text="True takes it back. Whoever means it after all decides anew, on the page."
    )


class OfKind(Asked):
    kind = choice(KINDS, required=False)


class FindDecisions(ListAsked):
    stands = serializers.ChoiceField(choices=[*letting.STANDS], required=False)
    kind = choice(KINDS, required=False)
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")


class KeepingSites(ListView):
    shape, query, pages = SiteKeptShape, ListAsked, Pages("name")

    def rows(self) -> Any:
        return overview.sites_of(self.actor)

    def dressed(self, found: list[Any]) -> list[Any]:
        return overview.over_sites(self.actor, found, timezone.now())

    @describe_list("list_keeping_sites", "What is past its period", SiteKeptShape, ListAsked)
    def get(self, request: Request) -> Response:
        """Site by site, for a supervisor or manager of the owner. Nothing is let go by itself, and
        a sealed record never: what can go are photos and papers."""
        return self.listed()


class SiteKeeping(View):
    @describe_one(
        "read_keeping_of_site", "How long the records of a site are kept", SiteKeptWholeShape
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> Response:
        """By kind of record, for a supervisor or manager of the owner."""
        site = registry.site(self.actor, key)
        kinds, unsaid = overview.at_site(self.actor, site, timezone.now())
        told = {
            "site": site, "kinds": kinds, "unsaid": unsaid, "days_to_undo": letting.WAITS.days,
        }  # fmt: skip
        return self.tagged(self.shown(SiteKeptWholeShape, told))


class SiteKeepingFiles(View):
    query = OfKind

    @describe_one(
        "read_files_past_their_period", "Files that may be decided about", PastFilesShape,
        parameters=[OfKind], description=f"Those first that could have gone longest. {DECIDES}",
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> Response:
        site = registry.site(self.actor, key)
        kind = self.asked.get("kind", "")
        found, count = overview.of_kind(self.actor, site, kind, timezone.now())
        files = [
            {
                "row": one.row, "kind": one.kind, "of": one.of, "free_from": free.day,
                "under": free.period.label if free.period else "",
            }
            for one, free in found
        ]  # fmt: skip
        told = {"site": site, "count": count, "files": files}
        return self.tagged(self.shown(PastFilesShape, told))


class Decisions(ListView):
    shape, query, pages = DecisionShape, FindDecisions, Pages("-decided_at")

    def rows(self) -> Any:
        columns = {"stands": "stands", "kind": "kind", "site": "site__key"}
        asked = {column: self.asked[name] for name, column in columns.items() if name in self.asked}
        return overview.all_decisions(self.actor).filter(**asked)

    @describe_list(
        "list_keeping_decisions", "Decisions about files past their period", DecisionShape,
        FindDecisions, description=f"The newest first. {DECIDES}",
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        return self.listed()


class Decision(View):
    scopes = {"GET": "read", "PATCH": "rules"}

    @describe_one("read_keeping_decision", "One such decision with its files", DecisionWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        """Who decided what, why and under which rule, and what became of each file."""
        return self.tagged(self.shown(DecisionWholeShape, letting.decision(self.actor, key)))

    @describe(
        "take_back_keeping_decision", "Take such a decision back", request=TakenBack,
        responses={200: DecisionWholeShape}, parameters=[MATCH],
        examples=[OpenApiExample("It stays", value={"taken_back": True}, request_only=True)],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """While it waits; one to keep files on at any time. Every file of it stays, so it wants no
        proof and a program may do it."""
        return settled(
            self, DecisionWholeShape, TakenBack,
            find=lambda: letting.decision(self.actor, key), may=lambda row: None,
            write=self.write,
        )  # fmt: skip

    def write(self, row: Any, values: dict[str, Any]) -> None:
        if values["taken_back"]:
            letting.take_back(actor=self.actor, row=row, at=timezone.now())
        elif row.taken_back_at is not None:
            said = "It was taken back; whoever means it after all decides anew, on the page."
            raise Refused("taken_back", said, "taken_back")


urls: list[URLPattern] = [
    path("keeping/sites/", KeepingSites.as_view(), name="keeping_sites"),
    path("sites/<uuid:key>/keeping/", SiteKeeping.as_view(), name="site_keeping"),
    path("sites/<uuid:key>/keeping/files/", SiteKeepingFiles.as_view(), name="site_keeping_files"),
    path("keeping/decisions/", Decisions.as_view(), name="keeping_decisions"),
    path("keeping/decisions/<uuid:key>/", Decision.as_view(), name="keeping_decision"),
]
