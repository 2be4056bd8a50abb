"""Visits of an authority of its own: read, noted, put right by another note, withdrawn."""

import uuid
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.http import FileResponse, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.api.asking import ListAsked, Pages
from itm.api.bodies import Json, Multipart, digest_of, parted
from itm.api.describing import HAVE, KEY, MATCH, describe, describe_list, describe_one
from itm.api.doing_once import answered
from itm.api.editing import given, settled
from itm.api.problems import Problem, fault, named_at
from itm.api.tags import unchanged
from itm.api.v1.records import AnyType
from itm.api.v1.shapes import Ref
from itm.api.v1.sites import wanted
from itm.api.views import ListView, View
from itm.core.errors import Refused
from itm.findings import visiting
from itm.registry import queries as registry
from itm.registry.attaching import MOST, Upload
from itm.registry.files import SUFFIXES, clean_name, opened

PART, FILE = "visit", "file"
LARGEST = 60_000_000  # bytes, with the files of one note; own choice, as of an inspection


class AuthorityVisitShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    organisation = Ref()
    visited_on = serializers.DateField(help_text="On the clock of the site")
    present = serializers.CharField(help_text="Who was there, by name")
    looked_at = serializers.CharField(help_text="What was looked at, and what was seen")
    noted_at = serializers.DateTimeField()
    noted_by = serializers.CharField()
    ordered = serializers.IntegerField(help_text="Orders that name it")
    replaces = serializers.UUIDField(
        source="replaces.key", allow_null=True, default=None,
        help_text="The wrong note in whose place it stands",
    )  # fmt: skip
    replaced_by = serializers.UUIDField(source="replaced_by.key", allow_null=True, default=None)
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_by = serializers.CharField(allow_blank=True)
    withdrawn_because = serializers.CharField(allow_blank=True)


class AuthorityFileShape(serializers.Serializer):
    key = serializers.UUIDField()
    name = serializers.CharField()
    caption = serializers.CharField(allow_blank=True)
    content_type = serializers.CharField()
    size = serializers.IntegerField(help_text="bytes")
    sha256 = serializers.CharField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_by = serializers.CharField(allow_blank=True)
    withdrawn_because = serializers.CharField(allow_blank=True)


class VisitOrderShape(serializers.Serializer):
    key = serializers.UUIDField()
    words = serializers.CharField(help_text="What has to be done")
    due_on = serializers.DateField()
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField(source="made_by_name")
    seen_at = serializers.DateTimeField(allow_null=True, help_text="When the owner read it")
    met_at = serializers.DateTimeField(allow_null=True)
    met_words = serializers.CharField(allow_blank=True, help_text="What shows that it is met")


class AuthorityVisitWholeShape(AuthorityVisitShape):
    files = serializers.SerializerMethodField()
    orders = VisitOrderShape(many=True, source="orders.all")

    @extend_schema_field(AuthorityFileShape(many=True))
    def get_files(self, row: Any) -> list[dict[str, Any]]:
        rows = visiting.files_of(self.context["actor"], row)
        return AuthorityFileShape(rows, many=True).data  # type: ignore[return-value]


class Said(serializers.Serializer):
    """What a note says, on its own or in place of another."""

    visited_on = serializers.DateField(help_text="On the clock of the site")
    present = serializers.CharField(max_length=400, help_text="Who was there, by name")
    looked_at = serializers.CharField(
        max_length=4000, help_text="What was looked at, and what was seen"
    )
    caption = serializers.CharField(
        max_length=200, default="", allow_blank=True, help_text="What the files show"
    )


class AuthorityVisitGiven(Said):
    site = serializers.UUIDField()


class AuthorityVisitCorrected(Said):
    """What is left out stays as the wrong note has it."""

    because = serializers.CharField(max_length=200, help_text="What is wrong with the note")
    visited_on = serializers.DateField(required=False, help_text="On the clock of the site")
    present = serializers.CharField(max_length=400, required=False)
    looked_at = serializers.CharField(max_length=4000, required=False)


class Withdrawn(serializers.Serializer):
    withdrawn_because = serializers.CharField(
        max_length=200, help_text="What is wrong with it; it stays to be read"
    )


class FindAuthorityVisits(ListAsked):
    find = serializers.CharField(
        max_length=80, default="",
        help_text="Every word stands in what was looked at, who was there, the site or authority.",
    )  # fmt: skip
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    stands = serializers.ChoiceField(
        choices=["standing", "withdrawn"], required=False,
        help_text="Only those that stand as they were noted, or only those that were withdrawn.",
    )  # fmt: skip
    since = serializers.DateField(required=False, help_text="Of this day or later.")
    until = serializers.DateField(required=False, help_text="Of this day or before.")


def with_files(of: str) -> dict[str, Any]:
    """The body with files, beside the one that is JSON alone."""
    return {
        "type": "object",
        "properties": {
            PART: {"type": "string", "description": f"The {of} as JSON, as it goes alone."},
            FILE: {
                "type": "array", "maxItems": MOST, "items": {"type": "string", "format": "binary"},
                "description": "Photos (JPEG, PNG, WebP) and papers (PDF), up to 15 MB each.",
            },
        },
        "required": [PART],
    }  # fmt: skip


NOTE_EXAMPLE = {
    "site": "5b0a1c2d-3e4f-4a5b-8c6d-7e8f9a0b1c2d",
    "visited_on": "2026-05-03",
    "present": "An inspector of the invented authority, the duty engineer",
    "looked_at": "The pump room. Two valves stood closed without a seal.",
}
RIGHT_EXAMPLE = {"because": "The day was wrong", "visited_on": "2026-05-02"}
WITHDRAWN_EXAMPLE = {"withdrawn_because": "Noted at another site than the one that was visited"}


class AuthorityVisits(ListView):
    parser_classes = [Json, Multipart]
    largest_with_files = LARGEST
    shape, query = AuthorityVisitShape, FindAuthorityVisits
    pages = Pages("-visited_on")
    scopes = {"GET": "read", "POST": "hand_in"}

    def rows(self) -> Any:
        return visiting.visits(self.actor, wanted(self.asked, "stands", *visiting.NARROWS))

    @describe_list(
        "list_authority_visits", "Visits of an authority", AuthorityVisitShape, FindAuthorityVisits
    )
    def get(self, request: Request) -> Response:
        """The newest day first; withdrawn ones stay to be read. Owner and authorities of a site see
        them, contractors do not: what has to be done is an order, which they see."""
        return self.listed()

    @describe(
        "note_authority_visit", "Note a visit of an authority",
        request={
            "application/json": AuthorityVisitGiven, "multipart/form-data": with_files("note"),
        },
        responses={201: AuthorityVisitWholeShape}, parameters=[KEY],
        examples=[OpenApiExample("A visit to a pump room (invented)", value=NOTE_EXAMPLE,
                                 request_only=True, media_type="application/json")],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """By an authority of the site, and read by the owner at once. With photos or papers send
        multipart/form-data: the note as JSON in the part `visit`, each file in a part `file`. All
        of it is kept or nothing."""
        asked, files = sent(request)
        body = given(AuthorityVisitGiven, asked)
        key_of_site = body.pop("site")

        def do(_: uuid.UUID) -> Any:
            with named_at("site"):
                site = registry.site(self.actor, key_of_site)
            return visiting.note_visit(
                actor=self.actor, site=site, at=timezone.now(), uploads=uploads(files), **body
            )

        return noted(self, do, {PART: asked, "files": [digest_of(one) for one in files]})


class AuthorityVisit(View):
    scopes = {"GET": "read", "PATCH": "hand_in"}

    @describe_one("read_authority_visit", "One visit of an authority", AuthorityVisitWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        """With its files, and with the orders that name it."""
        row = visiting.visit(self.actor, key)
        return self.tagged(self.shown(AuthorityVisitWholeShape, row))

    @describe(
        "withdraw_authority_visit", "Withdraw the note of a visit", request=Withdrawn,
        responses={200: AuthorityVisitWholeShape}, parameters=[MATCH],
        examples=[OpenApiExample("Another site (invented)", value=WITHDRAWN_EXAMPLE,
                                 request_only=True)],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """Only who noted it can. Nothing else of a note is ever changed: a wrong one is put right
        by another, at `corrections/`."""
        return settled(
            self, AuthorityVisitWholeShape, Withdrawn,
            find=lambda: visiting.visit(self.actor, key),
            may=lambda row: visiting.require_maker(self.actor, row),
            write=lambda row, values: withdrawn(
                lambda because: visiting.withdraw_visit(
                    actor=self.actor, visit=row, because=because, at=timezone.now()
                ),
                values,
            ),
        )  # fmt: skip


class AuthorityVisitCorrections(View):
    parser_classes = [Json, Multipart]
    largest_with_files = LARGEST
    scopes = {"POST": "hand_in"}

    @describe(
        "correct_authority_visit", "Put the note of a visit right",
        request={
            "application/json": AuthorityVisitCorrected,
            "multipart/form-data": with_files("correction"),
        },
        responses={201: AuthorityVisitWholeShape}, parameters=[KEY],
        examples=[OpenApiExample("Another day (invented)", value=RIGHT_EXAMPLE,
                                 request_only=True, media_type="application/json")],
    )  # fmt: skip
    def post(self, request: Request, key: UUID) -> Response:
        """By who noted it. Another note takes the place of the wrong one, which stays to be read,
        withdrawn with the reason; its files go along, and more may come with it. The answer is the
        right note."""
        row = visiting.visit(self.actor, key)
        visiting.require_maker(self.actor, row)
        asked, files = sent(request)
        body = given(AuthorityVisitCorrected, asked)
        stood = {name: getattr(row, name) for name in ("visited_on", "present", "looked_at")}

        def do(_: uuid.UUID) -> Any:
            return visiting.correct_visit(
                actor=self.actor, visit=row, at=timezone.now(), uploads=uploads(files),
                **{**stood, **body},
            )  # fmt: skip

        told = {"of": str(key), PART: asked, "files": [digest_of(one) for one in files]}
        return noted(self, do, told)


def sent(request: Request) -> tuple[Any, list[Any]]:
    """The note and its files. Raises Problem unknown_part, and what `parted` raises."""
    asked, parts = parted(request, PART, "the note")
    if odd := sorted(name for name in parts if name != FILE):
        said = (
            f"A file goes in a part “{FILE}”, as often as there are files, not in “{odd[0][:40]}”."
        )
        raise Problem(422, "unknown_part", said, [fault("", "unknown_part", said)])
    return asked, parts.getlist(FILE)


def uploads(files: list[Any]) -> list[Upload]:
    return [Upload(one, clean_name(one.name or "")) for one in files]


def noted(view: View, do: Callable[[uuid.UUID], Any], told: dict[str, Any]) -> Response:
    """The note that was made, once for each key; what is wrong with a file is told at its part."""

    def made(key: uuid.UUID) -> Any:
        try:
            row = do(key)
        except Refused as refusal:
            if refusal.place != "chosen":
                raise
            raise Refused(refusal.code, refusal.sentence, FILE) from refusal
        return view.shown(AuthorityVisitWholeShape, visiting.visit(view.actor, row.key))

    response = answered(view.request, "authority_visit", made, body=told)
    response["Location"] = reverse("v1:authority_visit", args=[response.data["key"]])
    return response


def withdrawn(strike: Callable[[str], Any], values: dict[str, Any]) -> Any:
    with named_at("withdrawn_because"):
        return strike(values["withdrawn_because"])


# Files --------------------------------------------------------------------------------------------


class AuthorityFile(View):
    scopes = {"GET": "read", "PATCH": "hand_in"}

    @describe_one("read_authority_file", "One file of such a visit", AuthorityFileShape)
    def get(self, request: Request, key: UUID) -> Response:
        """Its line; the bytes are at `bytes/`."""
        return self.tagged(self.shown(AuthorityFileShape, visiting.file(self.actor, key)))

    @describe(
        "withdraw_authority_file", "Withdraw a file of such a visit", request=Withdrawn,
        responses={200: AuthorityFileShape}, parameters=[MATCH],
        examples=[OpenApiExample("A face (invented)",
                                 value={"withdrawn_because": "Shows a face"}, request_only=True)],
    )  # fmt: skip
    def patch(self, request: Request, key: UUID) -> Response:
        """Only who noted the visit can. It is shown to nobody any more, on no note that has it; its
        line stays and says why."""
        return settled(
            self, AuthorityFileShape, Withdrawn,
            find=lambda: visiting.file(self.actor, key),
            may=lambda row: visiting.require_maker(self.actor, row.visit),
            write=lambda row, values: withdrawn(
                lambda because: visiting.withdraw_file(
                    actor=self.actor, row=row, because=because, at=timezone.now()
                ),
                values,
            ),
        )  # fmt: skip


class AuthorityFileBytes(View):
    content_negotiation_class = AnyType
    can_be_gone = True

    @describe(
        "read_authority_file_bytes", "The bytes of such a file",
        responses={(200, *SUFFIXES): OpenApiTypes.BINARY}, parameters=[HAVE],
    )  # fmt: skip
    def get(self, request: Request, key: UUID) -> HttpResponseBase:
        """A JPEG, PNG or WebP picture, or a PDF. One that was withdrawn is not found."""
        row = visiting.file_to_serve(self.actor, key)
        tag = f'"{row.sha256}"'
        if unchanged(request, tag):
            return HttpResponse(status=304, headers={"ETag": tag})
        return FileResponse(
            opened(row.file, row.name), as_attachment=True, filename=row.name,
            content_type=row.content_type, headers={"ETag": tag},
        )  # fmt: skip


ONE, FILES = "authority-visits/<uuid:key>/", "authority-visit-files/<uuid:key>/"
urls: list[URLPattern] = [
    path("authority-visits/", AuthorityVisits.as_view(), name="authority_visits"),
    path(ONE, AuthorityVisit.as_view(), name="authority_visit"),
    path(
        f"{ONE}corrections/", AuthorityVisitCorrections.as_view(),
        name="authority_visit_corrections",
    ),
    path(FILES, AuthorityFile.as_view(), name="authority_file"),
    path(f"{FILES}bytes/", AuthorityFileBytes.as_view(), name="authority_file_bytes"),
]  # fmt: skip
