"""Inspections: simple tasks looked at, measured or exercised, as they were found."""

from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation
from itm.core.figures import day
from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.visits import Visit
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Equipment, FoamSystem, Proportioner, Site, Tank
from itm.schedule.models import Requirement
from itm.schedule.models.duties import LINKS, hangs_on_one_thing


class Inspection(Tracked, Scoped):
    """One round by one person on one day. Never changed: what was wrong is corrected by another."""

    site_path = "site"
    guard = "append_only"
    site = models.ForeignKey(Site, models.PROTECT, related_name="inspections")
    visit = models.ForeignKey(
        Visit, models.PROTECT, null=True, blank=True, related_name="inspections"
    )
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="inspections")
    done_on = models.DateField()
    entered_at = models.DateTimeField()
    person = models.CharField(max_length=200)  # by value, as history keeps it
    qualification = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=500, blank=True)
    # The page's own key of this deed: its tenth repeat finds this row.
    once = models.UUIDField(unique=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-done_on", "-pk"]

    def __str__(self) -> str:
        return f"Inspection of {self.site} on {day(self.done_on)}"

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(organisation=organisation_id)


class InspectionLine(Tracked):
    """One task on one thing. What the record prints stands here by value."""

    class Outcome(models.TextChoices):
        IN_ORDER = "in_order", "in order"
        FAULT = "fault", "not in order"
        NOT_POSSIBLE = "not_possible", "not possible"

    part_of = "inspection"
    guard = "append_only"
    inspection = models.ForeignKey(Inspection, models.PROTECT, related_name="lines")
    requirement = models.ForeignKey(Requirement, models.PROTECT, related_name="lines")
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, null=True, blank=True, related_name="inspection_lines"
    )
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="inspection_lines"
    )
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="inspection_lines"
    )
    system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="inspection_lines"
    )
    words = models.CharField(max_length=400)
    place = models.CharField(max_length=200)
    acceptance = models.CharField(max_length=400, blank=True)
    source = models.CharField(max_length=600)
    outcome = models.CharField(max_length=12, choices=Outcome.choices)
    answers = models.JSONField(default=list)
    other_fault = models.BooleanField(
        null=True,
        help_text="Something that no answer shows is not in order; null: nobody knows, of a line "
        "from before it was kept",
    )
    reason = models.CharField(max_length=300, blank=True)
    note = models.CharField(max_length=500, blank=True)
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["inspection_id", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=hangs_on_one_thing(), name="inspection_line_is_of_one_thing"
            ),
            models.CheckConstraint(
                condition=~Q(outcome="not_possible") | ~Q(reason=""),
                name="inspection_line_says_why_not",
                violation_error_message="What was not possible says why.",
            ),
            models.CheckConstraint(
                condition=Q(other_fault=None) | Q(other_fault=False) | Q(outcome="fault"),
                name="inspection_line_other_fault_is_a_fault",
                violation_error_message="Where something is not in order, the task is not either.",
            ),
            models.CheckConstraint(
                condition=Q(corrects=None) | ~Q(reason=""),
                name="inspection_correction_says_why",
                violation_error_message="A correction says why.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.words}: {self.get_outcome_display()}"

    @property
    def ticked(self) -> bool:
        """Whether something else was said to be not in order; of an older line as far as it shows:
        a fault that none of its answers is."""
        if self.other_fault is not None:
            return self.other_fault
        fault = self.outcome == self.Outcome.FAULT
        return fault and all(one["in_order"] for one in self.answers)

    @property
    def hook(self) -> tuple[str, int]:
        for name in LINKS:
            if (pk := getattr(self, f"{name}_id")) is not None:
                return name, pk
        return "", self.inspection.site_id
