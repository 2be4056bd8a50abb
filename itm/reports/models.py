"""Rendered reports: stored files under names nobody can guess."""

import uuid

from django.db import models

from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models import ProportioningTest


def report_path(report: "Report", filename: str) -> str:
    return f"reports/{uuid.uuid4().hex}.pdf"


class Report(Tracked):
    """The PDF of one sealed test, made by the worker. Seal the data, store the file."""

    part_of = "test"
    test = models.OneToOneField(ProportioningTest, models.PROTECT, related_name="report")
    file = models.FileField(upload_to=report_path)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    made_at = models.DateTimeField(auto_now_add=True)
    objects = TrackedQuerySet.as_manager()

    def __str__(self) -> str:
        return f"Report of {self.test}"
