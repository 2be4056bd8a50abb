"""Where an overdue duty is a deficiency, and of which class: said row by row, site by site."""

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import Organisation
from itm.core.history import Tracked
from itm.findings.models.deficiencies import Deficiency
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site
from itm.schedule.models import Requirement


class OverdueRule(Tracked, Scoped):
    """The owner of a site or its authority says what it is when this task is overdue here.

    It goes on through later editions of the same row. Where several hold, the worst class counts.
    """

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="overdue_rules")
    requirement = models.ForeignKey(Requirement, models.PROTECT, related_name="overdue_rules")
    adopter = models.ForeignKey(Organisation, models.PROTECT, related_name="overdue_rules")
    severity = models.PositiveSmallIntegerField(choices=Deficiency.Severity.choices)
    because = models.CharField(max_length=200, help_text="Why, or the paper that says so")
    adopted_by = models.CharField(max_length=200)
    starts_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["requirement__programme", "requirement__position", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "requirement", "adopter"],
                condition=Q(ended_on=None),
                name="overdue_rule_once",
                violation_error_message="You have said so here already.",
            ),
            models.CheckConstraint(
                condition=Q(severity__in=[1, 2, 3]) & ~Q(because=""),
                name="overdue_rule_says_class_and_why",
                violation_error_message="Choose a class, and say why or which paper says so.",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None) | Q(ended_on__gte=F("starts_on")),
                name="overdue_rule_in_order",
                violation_error_message="The last day is before the first.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.requirement} at {self.site}, overdue: {self.get_severity_display()}"
