"""What older papers report of a concentrate: one line for each property. Nothing here is ours."""

from django.db import models
from django.db.models import F, Q

from itm.core.figures import day
from itm.core.history import Tracked
from itm.records.models.concentrate import ConcentrateSample, SampleValue
from itm.records.models.past import PastBundle, PastQuerySet
from itm.registry.access import Scoped
from itm.registry.models import Site, Tank
from itm.registry.properties import PROPERTIES, bounds


class PastCheckLine(Tracked, Scoped):
    """One property of one earlier check of a tank, or what its paper says as a whole (no `name`).
    Never changed: a wrong one is withdrawn.

    It is no record of ours: nothing is worked out from it, its limits are those that the paper
    names, and its outcome stands in the words of the paper.
    """

    site_path = "tank__site"
    guard = "append_only"
    bundle = models.ForeignKey(
        PastBundle, models.PROTECT, related_name="check_lines", db_index=False
    )  # a bundle is read as a whole, and an index would be the dearest part of a large import
    tank = models.ForeignKey(
        Tank, models.PROTECT, related_name="past_check_lines", db_index=False
    )  # the index below begins with it
    point = models.CharField(max_length=14, choices=ConcentrateSample.Point.choices, blank=True)
    sampled_on = models.DateField()
    name = models.CharField(max_length=32, blank=True, help_text="Property, as the engine names it")
    value = models.DecimalField(
        max_digits=20, decimal_places=9, null=True, blank=True, help_text="Unit of the engine"
    )
    value_typed = models.CharField(max_length=40, blank=True, help_text="Number and unit")
    temperature_c = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    temperature_typed = models.CharField(max_length=20, blank=True)
    lower_limit = models.DecimalField(max_digits=20, decimal_places=9, null=True, blank=True)
    lower_typed = models.CharField(max_length=40, blank=True)
    upper_limit = models.DecimalField(max_digits=20, decimal_places=9, null=True, blank=True)
    upper_typed = models.CharField(max_length=40, blank=True)
    outcome = models.CharField(max_length=200, blank=True, help_text="In the words of the paper")
    method = models.CharField(max_length=120, blank=True)
    origin = models.CharField(max_length=10, choices=SampleValue.Origin.choices, blank=True)
    laboratory = models.CharField(max_length=120, blank=True)
    paper = models.CharField(max_length=120, blank=True, help_text="Number or place of the paper")
    reported_on = models.DateField(null=True, blank=True)
    lot = models.CharField(max_length=60, blank=True)
    done_by = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=300, blank=True)
    row = models.PositiveIntegerField(default=0, help_text="Of the file that it came from")
    objects = PastQuerySet.as_manager()

    class Meta:
        ordering = ["tank_id", "sampled_on", "pk"]
        indexes = [models.Index(fields=["tank", "sampled_on"], name="past_check_of_tank")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(name="") & Q(value__isnull=False) & ~Q(value_typed="")
                | Q(value=None, value_typed="") & ~Q(outcome=""),
                name="past_check_says_something",
                violation_error_message="A line has a property with its value, or an outcome.",
            ),
            models.CheckConstraint(
                condition=Q(lower_limit=None)
                | Q(upper_limit=None)
                | Q(lower_limit__lt=F("upper_limit")),
                name="past_check_limits_in_order",
                violation_error_message="The lower limit lies below the upper one.",
            ),
            models.CheckConstraint(
                condition=Q(reported_on=None) | Q(reported_on__gte=F("sampled_on")),
                name="past_check_days_in_order",
                violation_error_message="A report is of the day of the sample, or later.",
            ),
        ]

    def __str__(self) -> str:
        said = self.value_typed or self.outcome
        return f"{self.heading}: {said}, {self.tank} on {day(self.sampled_on)}, as reported"

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(bundle__organisation=organisation_id)

    @property
    def site(self) -> Site:
        return self.tank.site

    @property
    def heading(self) -> str:
        return PROPERTIES[self.name].heading if self.name else "The check as a whole"

    @property
    def what(self) -> str:
        """With its point; of a check as a whole only where the paper names one."""
        known = self.name or self.point
        return f"{self.heading}, {self.point_words}" if known else self.heading

    @property
    def point_words(self) -> str:
        return str(self.get_point_display()) if self.point else "point not reported"

    @property
    def origin_words(self) -> str:
        """In the words of the history of a tank."""
        return {"laboratory": "laboratory", "own": "crew"}.get(self.origin, "not reported")

    @property
    def limits_words(self) -> str:
        """As the paper names them, in its unit."""
        if not self.lower_typed and not self.upper_typed:
            return ""
        said = bounds(self.lower_typed, self.upper_typed, PROPERTIES[self.name])
        unit = f" {PROPERTIES[self.name].unit}".rstrip()
        return said.removesuffix(unit) if unit else said
