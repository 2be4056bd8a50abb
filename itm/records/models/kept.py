"""What is kept for good: evaluations, moves and seals. Append-only in the database itself."""

from django.db import models
from django.db.models import Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.concentrate import ConcentrateCheck
from itm.records.models.tests import ProportioningTest
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site

Record = ProportioningTest | ConcentrateCheck
# The column by which what is kept names its record.
LINKS: dict[type[Record], str] = {
    ProportioningTest: "test",
    ConcentrateCheck: "concentrate_check",
}


def on(record: Record) -> dict[str, Record]:
    """For a filter or a new row: what is kept of this record."""
    return {LINKS[type(record)]: record}


def of_one_record(name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(test__isnull=False, concentrate_check=None)
        | Q(test=None, concentrate_check__isnull=False),
        name=name,
    )


class OfRecord(models.Model):
    """A row that hangs on a test or on a check, through which alone it is read."""

    part_of = "record"

    class Meta:
        abstract = True

    @property
    def record(self) -> Record:
        found: Record = self.test or self.concentrate_check  # type: ignore[attr-defined]
        return found


class Evaluation(Tracked, OfRecord):
    """One run of the engine on one record. Recomputing adds a row; it never replaces one."""

    guard = "append_only"
    test = models.ForeignKey(
        ProportioningTest, models.PROTECT, null=True, related_name="evaluations"
    )
    concentrate_check = models.ForeignKey(
        ConcentrateCheck, models.PROTECT, null=True, related_name="evaluations"
    )
    engine_version = models.CharField(max_length=20)
    inputs_digest = models.CharField(max_length=64)
    inputs = models.JSONField()
    result = models.JSONField()
    made_at = models.DateTimeField(auto_now_add=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [of_one_record("evaluation_of_one_record")]

    def __str__(self) -> str:
        return f"Evaluation {self.engine_version} of {self.test_id or self.concentrate_check_id}"


class Move(Tracked, OfRecord):
    """One step in the life of a record, with what it looked like at that moment."""

    guard = "append_only"
    test = models.ForeignKey(ProportioningTest, models.PROTECT, null=True, related_name="moves")
    concentrate_check = models.ForeignKey(
        ConcentrateCheck, models.PROTECT, null=True, related_name="moves"
    )
    verb = models.CharField(max_length=12)
    at = models.DateTimeField()
    person = models.CharField(max_length=120)
    organisation = models.CharField(max_length=120)
    reason = models.CharField(max_length=500, blank=True)
    # At hand-in: the canonical bytes of what was handed in, kept even when it is sent back.
    document = models.BinaryField(null=True)
    digest = models.CharField(max_length=64, blank=True)
    # The client's own key of this deed: its tenth repeat finds this row.
    once = models.UUIDField(null=True, unique=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [of_one_record("move_of_one_record")]

    def __str__(self) -> str:
        return f"{self.verb} of {self.test_id or self.concentrate_check_id}"


class Seal(Tracked, OfRecord, Scoped):
    """One link of a site's chain: the canonical bytes of a record and their digest."""

    site_path = "site"
    guard = "append_only"
    site = models.ForeignKey(Site, models.PROTECT, related_name="seals")
    number = models.PositiveIntegerField()
    test = models.OneToOneField(ProportioningTest, models.PROTECT, null=True, related_name="seal")
    concentrate_check = models.OneToOneField(
        ConcentrateCheck, models.PROTECT, null=True, related_name="seal"
    )
    form = models.PositiveSmallIntegerField(help_text="Number of its kind's canonical form")
    document = models.BinaryField(help_text="Canonical bytes, RFC 8785")
    digest = models.CharField(max_length=64, unique=True)
    previous = models.CharField(max_length=64, blank=True)
    sealed_at = models.DateTimeField()
    signer = models.CharField(max_length=120)
    signer_qualification = models.CharField(max_length=120)
    signer_number = models.CharField(max_length=60, blank=True)
    signed_for = models.CharField(max_length=120)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["site_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["site", "number"], name="seal_number_once"),
            models.CheckConstraint(
                condition=Q(number=1, previous="") | (Q(number__gt=1) & ~Q(previous="")),
                name="seal_follows_another",
            ),
            of_one_record("seal_of_one_record"),
        ]

    def __str__(self) -> str:
        return f"Seal {self.number} of {self.site}"

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(test__visit__contractor=organisation_id) | Q(
            concentrate_check__organisation=organisation_id
        )
