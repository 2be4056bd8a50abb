"""Inspections: read, and handed in as a page would record them."""

import uuid
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.urls import URLPattern, path, reverse
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from itm.actions.record_inspection import record_inspection
from itm.api.asking import ListAsked, Pages
from itm.api.bodies import Json, Multipart, digest_of, parted
from itm.api.describing import KEY, describe, describe_list, describe_one
from itm.api.doing_once import answered
from itm.api.editing import given
from itm.api.problems import named_at, pointer
from itm.api.v1.shapes import Ref, choice
from itm.api.v1.sites import wanted
from itm.api.views import ListView, View
from itm.core.errors import Refused
from itm.records import inspection_queries as queries
from itm.records import queries as records
from itm.records.inspecting import Entry, require_form
from itm.registry import queries as registry
from itm.registry.attaching import Upload
from itm.registry.files import clean_name

MOST_LINES = 300


class InspectionShape(serializers.Serializer):
    key = serializers.UUIDField()
    site = Ref()
    organisation = Ref()
    person = serializers.CharField()
    qualification = serializers.CharField(allow_blank=True)
    done_on = serializers.DateField()
    entered_at = serializers.DateTimeField()
    note = serializers.CharField(allow_blank=True)
    done = serializers.IntegerField(help_text="Lines that were done")
    faults = serializers.IntegerField(help_text="Lines that were not in order")
    not_possible = serializers.IntegerField()


class LineShape(serializers.Serializer):
    key = serializers.UUIDField()
    words = serializers.CharField()
    place = serializers.CharField()
    acceptance = serializers.CharField(allow_blank=True)
    source = serializers.CharField()  # type: ignore[assignment]
    outcome = choice(queries.OUTCOMES)
    answers = serializers.JSONField()
    broken = serializers.BooleanField(
        source="other_fault", allow_null=True,
        help_text="Not in order for a reason that no answer shows; null: nobody knows, of a line "
        "from before it was kept",
    )  # fmt: skip
    reason = serializers.CharField(allow_blank=True)
    note = serializers.CharField(allow_blank=True)
    corrects = serializers.UUIDField(source="corrects.key", allow_null=True, default=None)
    corrected_by = serializers.UUIDField(source="corrected_by.key", allow_null=True, default=None)


class InspectionWholeShape(InspectionShape):
    lines = LineShape(many=True, source="read_lines")


class LineGiven(serializers.Serializer):
    duty = serializers.UUIDField(help_text="Key of an open duty of the site")
    answers = serializers.DictField(
        child=serializers.CharField(max_length=300, allow_blank=True), default=dict,
        help_text="By the keys in `evidence` of the duty; text as typed, “yes” or “no”",
    )  # fmt: skip
    reason = serializers.CharField(
        max_length=300, default="", allow_blank=True,
        help_text="Why it was not possible; then without answers",
    )  # fmt: skip
    note = serializers.CharField(max_length=500, default="", allow_blank=True)
    broken = serializers.BooleanField(
        default=False, help_text="Not in order for a reason that no answer shows"
    )


class InspectionGiven(serializers.Serializer):
    """One round by one person on one day."""

    site = serializers.UUIDField()
    done_on = serializers.DateField()
    visit = serializers.UUIDField(required=False, allow_null=True)
    note = serializers.CharField(max_length=500, default="", allow_blank=True)
    lines = LineGiven(many=True, allow_empty=False, max_length=MOST_LINES)  # type: ignore[call-arg]


class FindInspections(ListAsked):
    find = serializers.CharField(max_length=80, default="", help_text="Part of a site or person.")
    site = serializers.UUIDField(required=False, help_text="Only at the site with this key.")
    since = serializers.DateField(required=False, help_text="Done on this day or later.")
    until = serializers.DateField(required=False, help_text="Done on this day or before.")


PART = "inspection"
WITH_PHOTOS = {
    "type": "object",
    "properties": {
        PART: {"type": "string", "description": "The inspection as JSON, as it goes alone."},
    },
    "additionalProperties": {
        "type": "string", "format": "binary",
        "description": "A picture; the answer that wants it is the name of this part.",
    },
    "required": [PART],
}  # fmt: skip


class Inspections(ListView):
    parser_classes = [Json, Multipart]
    largest_with_files = 60_000_000  # bytes: the photos of one round; own choice
    shape, query, pages = InspectionShape, FindInspections, Pages("-done_on")
    scopes = {"GET": "read", "POST": "hand_in"}

    def rows(self) -> Any:
        return queries.listed(self.actor, wanted(self.asked, *queries.NARROWS))

    @describe_list("list_inspections", "Inspections", InspectionShape, FindInspections)
    def get(self, request: Request) -> Response:
        """The newest day first."""
        return self.listed()

    @describe(
        "hand_in_inspection", "Hand in an inspection",
        request={"application/json": InspectionGiven, "multipart/form-data": WITH_PHOTOS},
        responses={201: InspectionWholeShape}, parameters=[KEY],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """All lines or none. What stands in no line stays due. Where a task wants a photo, send
        multipart/form-data: the inspection as JSON in the part `inspection`, each picture as a part
        of its own, and the name of that part as the answer."""
        asked, parts = parted(request, PART, "the inspection")
        files = parts.dict()
        body = given(InspectionGiven, asked)

        def do(key: uuid.UUID) -> Any:
            made = self.record(body, key, files)
            return self.shown(InspectionWholeShape, whole(queries.inspection(self.actor, made.key)))

        digests = {name: digest_of(file) for name, file in files.items()}
        told = {"inspection": asked, "files": digests} if files else asked
        response = answered(request, "inspection", do, body=told)
        response["Location"] = reverse("v1:inspection", args=[response.data["key"]])
        return response

    def record(self, body: Mapping[str, Any], key: uuid.UUID, files: Mapping[str, Any]) -> Any:
        with named_at("site"):
            site = registry.site(self.actor, body["site"])
        with named_at("visit"):
            key_of_visit = body.get("visit")
            visit = key_of_visit and records.visit_at(self.actor, site, key_of_visit)
        duties = {row.key: row for row in queries.asked_at(self.actor, site, ahead=True)}
        places: dict[str, str] = {}
        photos: dict[tuple[int, str], Upload] = {}
        entries = []
        for place, line in enumerate(body["lines"]):
            duty = duties.pop(line["duty"], None)
            if duty is None:
                raise Refused(
                    "not_asked", "No inspection of the site is open under this key, or two lines "
                    "name it.", pointer("lines", place, "duty"),
                )  # fmt: skip
            with named_at("lines", place, "duty"):
                require_form(duty.requirement)
            places |= answer_places(duty, line, place)
            taken = photos_in(duty, line, place, files)
            photos |= {(duty.pk, name): upload for name, upload in taken.items()}
            entered = line["answers"] | {name: one.name for name, one in taken.items()}
            entries.append(
                Entry(
                    duty, entered=entered, reason=line["reason"], note=line["note"],
                    broken=line["broken"],
                )
            )  # fmt: skip
        require_all_named(files, body["lines"])
        try:
            return record_inspection(
                actor=self.actor, site=site, done_on=body["done_on"], at=timezone.now(), once=key,
                entries=entries, photos=photos, note=body["note"],
                visit=visit or None,
            )  # fmt: skip
        except Refused as refusal:
            at = places.get(refusal.place, refusal.place)
            raise Refused(refusal.code, refusal.sentence, at) from refusal


def answer_places(duty: Any, line: Mapping[str, Any], place: int) -> dict[str, str]:
    """Where in the body the answer to each want stands. Raises Refused unknown_key."""
    wants = {want["key"]: want for want in duty.requirement.evidence}
    for name in line["answers"]:
        if name not in wants:
            at, known = pointer("lines", place, "answers", name), ", ".join(wants) or "none"
            raise Refused("unknown_key", f"“{name}” is not asked here; asked are {known}.", at)
    out = {f"{duty.pk}-{name}": pointer("lines", place, "answers", name) for name in wants}
    return out | {f"{duty.pk}-reason": pointer("lines", place, "reason")}


def photos_in(
    duty: Any, line: Mapping[str, Any], place: int, files: Mapping[str, Any]
) -> dict[str, Upload]:  # fmt: skip
    """By want the picture whose part the answer names. Raises Refused photo_missing: the name of a
    photo without the photo would be a record of nothing."""
    out = {}
    for want in duty.requirement.evidence:
        name = line["answers"].get(want["key"], "").strip()
        if want["kind"] != "photo" or not name:
            continue
        if name not in files:
            raise Refused(
                "photo_missing",
                f"There is no file in a part “{name[:40]}”: send the picture along as "
                "multipart/form-data, and write here the name of its part.",
                pointer("lines", place, "answers", want["key"]),
            )
        out[want["key"]] = Upload(files[name], clean_name(files[name].name or name))
    return out


def require_all_named(files: Mapping[str, Any], lines: Sequence[Mapping[str, Any]]) -> None:
    """Raises Refused file_not_named: a picture that no answer names would be lost unseen."""
    named = {answer.strip() for line in lines for answer in line["answers"].values()}
    if lost := sorted(files.keys() - named):
        raise Refused(
            "file_not_named",
            f"No answer names the file in the part “{lost[0][:40]}”: write the name of the part as "
            "the answer to the photo that is wanted, or leave the file out.",
        )


def whole(row: Any) -> Any:
    row.read_lines = list(queries.lines_of(row))
    return row


class Inspection(View):
    @describe_one("read_inspection", "One inspection with its lines", InspectionWholeShape)
    def get(self, request: Request, key: UUID) -> Response:
        row = whole(queries.inspection(self.actor, key))
        return self.tagged(self.shown(InspectionWholeShape, row))


urls: list[URLPattern] = [
    path("inspections/", Inspections.as_view(), name="inspections"),
    path("inspections/<uuid:key>/", Inspection.as_view(), name="inspection"),
]
