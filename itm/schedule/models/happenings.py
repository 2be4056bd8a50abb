"""What happened at a system that some rows of programmes ask about."""

from django.db import models
from django.db.models import Q

from itm.core.figures import day
from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import FoamSystem, Site
from itm.schedule.models.programmes import Requirement


class Happening(Tracked, Scoped):
    """A discharge, a repair, a survey: what no record of another kind tells."""

    class Kind(models.TextChoices):
        DISCHARGE = Requirement.Event.DISCHARGE.value, "Foam was discharged"
        REPAIR = Requirement.Event.REPAIR.value, "Repaired, or a part was changed"
        WATER_SUPPLY = Requirement.Event.WATER_SUPPLY.value, "The water supply was changed"
        INOPERABLE = Requirement.Event.INOPERABLE.value, "The system is out of order"
        SURVEY = Requirement.Event.SURVEY.value, "Survey by flag or class"

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="happenings")
    system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="happenings",
        help_text="None: the whole site",
    )  # fmt: skip
    kind = models.CharField(max_length=20, choices=Kind.choices)
    happened_on = models.DateField()
    words = models.CharField(max_length=300, help_text="What happened")
    withdrawn_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-happened_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(words=""),
                name="happening_says_what",
                violation_error_message="Say in a few words what happened.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {day(self.happened_on)}"
