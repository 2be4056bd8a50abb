"""Results of earlier tests as older papers report them. Nothing here was computed by us."""

from typing import Any

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import Organisation
from itm.core.figures import day
from itm.core.history import Tracked, TrackedQuerySet
from itm.core.withdrawing import Withdrawable, withdrawn_whole
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Proportioner, Site


class PastBundle(Tracked, Withdrawable):
    """What came in together, from one file or one paper. A wrong one is withdrawn as a whole."""

    owner_path = "organisation"
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="past_bundles")
    name = models.CharField(max_length=120, help_text="Of the file, or what the paper is")
    noted_by = models.CharField(max_length=200)
    noted_at = models.DateTimeField()
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["-noted_at", "-pk"]
        constraints = [withdrawn_whole("past_bundle_withdrawn_is_whole")]

    def __str__(self) -> str:
        return self.name


class PastQuerySet(ScopedQuerySet):
    def in_force(self) -> "PastQuerySet":
        """Neither withdrawn alone nor with what it came in."""
        return self.filter(bundle__withdrawn_at=None, withdrawal=None)


class PastResult(Tracked, Scoped):
    """One flow point of one earlier test, as reported. Never changed: a wrong one is withdrawn.

    It is no record of ours: it carries no readings, no seal and no certainty, its limits are those
    that the paper names, and no verdict is worked out from it.
    """

    class Method(models.TextChoices):
        UNKNOWN = "", "not reported"
        REFRACTIVE_INDEX = "refractive_index", "refractive index"
        BRIX = "brix", "Brix"
        CONDUCTIVITY = "conductivity", "conductivity"
        FLOWS = "flows", "two flows"
        DRAW_DOWN = "draw_down", "draw-down of the tank"
        OTHER = "other", "another way"

    class Phase(models.TextChoices):
        AS_FOUND = "as_found", "as found"
        AS_LEFT = "as_left", "as left"

    class Purpose(models.TextChoices):
        PERIODIC = "periodic", "Periodic"
        ACCEPTANCE = "acceptance", "Acceptance"
        RETEST = "retest", "Retest"

    site_path = "proportioner__system__site"
    guard = "append_only"
    bundle = models.ForeignKey(
        PastBundle, models.PROTECT, related_name="results", db_index=False
    )  # a bundle is read as a whole, and an index would be the dearest part of a large import
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, related_name="past_results", db_index=False
    )  # the index below begins with it
    flow_point = models.CharField(max_length=40, help_text="By the name that the register has")
    tested_on = models.DateField()
    phase = models.CharField(max_length=8, choices=Phase.choices, default=Phase.AS_FOUND)
    purpose = models.CharField(max_length=10, choices=Purpose.choices, default=Purpose.PERIODIC)
    percent = models.DecimalField(max_digits=9, decimal_places=6)
    percent_typed = models.CharField(max_length=40)
    flow = models.FloatField(null=True, blank=True, help_text="m³/s")
    flow_typed = models.CharField(max_length=40, blank=True)
    lower_limit = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    upper_limit = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    outcome = models.CharField(max_length=60, blank=True, help_text="In the words of the paper")
    method = models.CharField(max_length=20, choices=Method.choices, blank=True)
    lot = models.CharField(max_length=60, blank=True)
    done_by = models.CharField(max_length=120, blank=True)
    paper = models.CharField(max_length=120, blank=True, help_text="Number or place of the paper")
    note = models.CharField(max_length=300, blank=True)
    row = models.PositiveIntegerField(default=0, help_text="Of the file that it came from")
    objects = PastQuerySet.as_manager()

    class Meta:
        ordering = ["proportioner_id", "tested_on", "flow_point", "pk"]
        indexes = [models.Index(fields=["proportioner", "tested_on"], name="past_of_proportioner")]
        constraints = [
            models.CheckConstraint(
                condition=Q(percent__gte=0, percent__lte=100),
                name="past_percent_in_range",
                violation_error_message="A percent lies from 0 to 100.",
            ),
            models.CheckConstraint(
                condition=Q(lower_limit=None)
                | Q(upper_limit=None)
                | Q(lower_limit__lt=F("upper_limit")),
                name="past_limits_in_order",
                violation_error_message="The lower limit lies below the upper one.",
            ),
            models.CheckConstraint(
                condition=Q(flow=None) | Q(flow__gt=0),
                name="past_flow_above_zero",
                violation_error_message="A flow lies above 0.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.percent_typed} at {self.flow_point} on {day(self.tested_on)}, as reported"

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(bundle__organisation=organisation_id)

    @property
    def site(self) -> Site:
        return self.proportioner.system.site


class PastWithdrawal(Tracked):
    """Says of one line from older papers that it does not count, and why."""

    part_of = "line"
    guard = "append_only"
    result = models.OneToOneField(
        PastResult, models.PROTECT, null=True, blank=True, related_name="withdrawal"
    )
    check_line = models.OneToOneField(
        "PastCheckLine", models.PROTECT, null=True, blank=True, related_name="withdrawal"
    )
    inspection = models.OneToOneField(
        "PastInspection", models.PROTECT, null=True, blank=True, related_name="withdrawal"
    )
    at = models.DateTimeField()
    person = models.CharField(max_length=200)
    organisation = models.CharField(max_length=120)
    reason = models.CharField(max_length=200)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="past_withdrawal_says_why",
                violation_error_message="Say why it does not count.",
            ),
            models.CheckConstraint(
                condition=Q(result__isnull=False, check_line=None, inspection=None)
                | Q(result=None, check_line__isnull=False, inspection=None)
                | Q(result=None, check_line=None, inspection__isnull=False),
                name="past_withdrawal_is_of_one_line",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line}: withdrawn"

    @property
    def line(self) -> Any:
        """What it withdraws."""
        return self.result or self.check_line or self.inspection
