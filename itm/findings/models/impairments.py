"""Systems out of service: from when to when, why, who sees to it, and what stands in meanwhile."""

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import Organisation
from itm.core.history import Tracked, TrackedQuerySet
from itm.findings.models.deficiencies import Deficiency
from itm.records.models import Visit
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import FoamSystem, Site


class Impairment(Tracked, Scoped):
    """Opened by the start of a test day or by hand. Never deleted.

    That of a test day follows its visit (`findings.impairing.follow`): reason and coordinator stand
    there alone, and it ends with the last restoration line.
    """

    site_path = "site"
    open_by_link = True
    guard = "kept"
    site = models.ForeignKey(Site, models.PROTECT, related_name="impairments")
    visit = models.OneToOneField(
        Visit, models.PROTECT, null=True, blank=True, related_name="impairment"
    )
    deficiency = models.ForeignKey(
        Deficiency, models.PROTECT, null=True, blank=True, related_name="impairments",
        help_text="What it was opened for, where a deficiency says so",
    )  # fmt: skip
    organisation = models.ForeignKey(
        Organisation, models.PROTECT, related_name="impairments_opened"
    )
    reason = models.CharField(max_length=200, blank=True)
    coordinator = models.CharField(max_length=120, blank=True)
    water = models.CharField(
        max_length=300, blank=True, help_text="Which hazards still have plain water"
    )
    stands_in = models.CharField(
        max_length=500, blank=True, help_text="What stands in: fire watch, monitors, work stopped"
    )
    expected_end_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField()
    started_by = models.CharField(max_length=200)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.CharField(max_length=200, blank=True)
    ended_words = models.CharField(max_length=300, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True, help_text="Started by mistake")
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(visit__isnull=False, reason="", coordinator="")
                | (Q(visit=None) & ~Q(reason="") & ~Q(coordinator="")),
                name="impairment_says_why_and_who",
                violation_error_message="Say why, and name the impairment coordinator.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_by="", ended_words="")
                | (Q(ended_at__gte=F("started_at")) & ~Q(ended_by="")),
                name="impairment_ends_after_it_began",
                violation_error_message="It ends after it began, and somebody says so.",
            ),
            models.CheckConstraint(
                condition=Q(visit__isnull=False) | Q(ended_at=None) | ~Q(ended_words=""),
                name="impairment_by_hand_says_how_it_ended",
                violation_error_message="Say how the systems were brought back.",
            ),
            models.CheckConstraint(
                condition=Q(taken_back_at=None) | Q(ended_at=None),
                name="impairment_taken_back_never_ended",
            ),
        ]
        indexes = [
            models.Index(
                fields=["site", "started_at"],
                condition=Q(ended_at=None, taken_back_at=None),
                name="impairment_open_at",
            ),
            models.Index(
                fields=["started_at"],
                condition=Q(ended_at=None, taken_back_at=None),
                name="impairment_open_since",
            ),
        ]

    def __str__(self) -> str:
        return f"Impairment at {self.site}: {self.why}"

    @staticmethod
    def open_to(kind: str) -> Q:
        return Q(ended_at=None, taken_back_at=None) if kind == "link" else Q()

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(organisation=organisation_id)

    @property
    def why(self) -> str:
        return self.visit.impairment_reason if self.visit else self.reason

    @property
    def coordinated_by(self) -> str:
        return self.visit.coordinator if self.visit else self.coordinator

    @property
    def is_open(self) -> bool:
        return self.ended_at is None and self.taken_back_at is None


class ImpairedSystem(Tracked):
    """One system that an impairment reaches, until it is back."""

    part_of = "impairment"
    guard = "kept"
    impairment = models.ForeignKey(Impairment, models.PROTECT, related_name="systems")
    system = models.ForeignKey(FoamSystem, models.PROTECT, related_name="impairments")
    back_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["impairment_id", "system__name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["impairment", "system"], name="impaired_system_once")
        ]
        indexes = [
            models.Index(fields=["system"], condition=Q(back_at=None), name="system_not_back")
        ]

    def __str__(self) -> str:
        return str(self.system)
