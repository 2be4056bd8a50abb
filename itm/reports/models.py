"""Rendered reports: stored files under names nobody can guess."""

import uuid

from django.db import models

from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.records.models.kept import OfRecord, of_one_record


def report_path(report: "Report", filename: str) -> str:
    return f"reports/{uuid.uuid4().hex}.pdf"


class Report(Tracked, OfRecord):
    """The PDF of one sealed record, made by the worker. Seal the data, store the file."""

    test = models.OneToOneField(ProportioningTest, models.PROTECT, null=True, related_name="report")
    concentrate_check = models.OneToOneField(
        ConcentrateCheck, models.PROTECT, null=True, related_name="report"
    )
    file = models.FileField(upload_to=report_path)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    made_at = models.DateTimeField(auto_now_add=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        constraints = [of_one_record("report_of_one_record")]

    def __str__(self) -> str:
        return f"Report of {self.record}"
