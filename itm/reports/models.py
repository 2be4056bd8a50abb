"""Rendered reports, and many of them in one file, stored under names nobody can guess."""

import uuid
from typing import Self

from django.db import models
from django.db.models import Q

from itm.accounts.actor import Actor
from itm.accounts.models import Membership, Organisation
from itm.core.history import Tracked, TrackedQuerySet
from itm.core.making import Making
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.records.models.kept import OfRecord, of_one_record
from itm.reports.choices import KEPT, SIZES, TYPED, UNITS


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


class BatchQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """Those of the person alone, in the organisation for which they were asked."""
        if actor.organisation_id is None or actor.user is None:
            return self.none()
        return self.filter(organisation=actor.organisation_id, member__user=actor.user)


class Batch(Making):
    """The reports of many records as one file, for the person who asked."""

    class Kind(models.TextChoices):
        TESTS = "tests", "Proportioning tests"
        CHECKS = "checks", "Concentrate checks"

    owner_path = "organisation"
    folder = "batches"
    # How far it is, and what could not be made, follow from the records and can be asked again.
    derived = Making.derived | {"at", "tried", "failures", "parts"}
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="batches")
    # In whose name the worker reads, asked again when it runs.
    member = models.ForeignKey(Membership, models.PROTECT, related_name="batches")
    kind = models.CharField(max_length=6, choices=Kind.choices)
    words = models.CharField(max_length=300, help_text="What was asked for")
    paper = models.CharField(max_length=6, choices=SIZES.items(), default=KEPT)
    units = models.CharField(max_length=5, choices=UNITS.items(), default=TYPED)
    # In the order of the list, fixed when it was asked for: a later seal is not in it.
    records = models.JSONField(default=list, help_text="Keys of sealed records")
    at = models.PositiveIntegerField(default=0, help_text="The next of them")
    tried = models.PositiveSmallIntegerField(default=0, help_text="How often it was begun")
    failures = models.JSONField(default=dict, help_text="Key → what it is of, and why")
    parts = models.JSONField(
        default=dict, help_text="Key → SHA-256 of its copy, which may lie in the store"
    )
    objects = BatchQuerySet.as_manager()

    class Meta(Making.Meta):
        constraints = [
            *Making.Meta.constraints,
            models.CheckConstraint(
                condition=Q(paper__in=list(SIZES)),
                name="batch_paper",
                violation_error_message="Choose one of the sizes of paper.",
            ),
            models.CheckConstraint(
                condition=Q(units__in=list(UNITS)),
                name="batch_units",
                violation_error_message="Choose one of the units.",
            ),
            models.UniqueConstraint(
                fields=["member"],
                condition=Q(state__in=["waiting", "making"]),
                name="one_batch_of_a_person_at_a_time",
                violation_error_message="The file that you asked for last is being made still: "
                "wait for it, or cancel it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{len(self.records)} reports, {self.words}"

    @property
    def as_kept(self) -> bool:
        """Whether it holds the reports that are kept, and no copies."""
        return (self.paper, self.units) == (KEPT, TYPED)

    @property
    def made(self) -> int:
        """Reports that are there so far."""
        return self.at - len(self.failures)
