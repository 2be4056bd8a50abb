"""Foam systems, their proportioners and the flow points at which these are proved."""

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked
from itm.registry import criteria
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models.concentrate import Tank
from itm.registry.models.sites import Site


class FoamSystem(Tracked, Scoped):
    """One fixed foam system on a site. Retired, never deleted."""

    class Fuel(models.TextChoices):
        HYDROCARBON = "hydrocarbon", "Hydrocarbon"
        POLAR = "polar", "Polar solvent"

    class Kind(models.TextChoices):
        DELUGE = "deluge", "Foam-water deluge"
        SPRINKLER = "sprinkler", "Foam-water sprinkler"
        MONITOR = "monitor", "Monitors"
        TANK_POURER = "tank_pourer", "Foam chambers on a storage tank"
        DECK = "deck", "Deck foam"
        HIGH_EXPANSION = "high_expansion", "High-expansion generators"
        OTHER = "other", "Other"

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="systems")
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    hazard = models.CharField(max_length=200, blank=True, help_text="What it protects")
    fuel = models.CharField(max_length=12, choices=Fuel.choices)
    minimum_flow = models.FloatField(help_text="Smallest solution flow to test, m³/s")
    minimum_flow_typed = models.CharField(max_length=40)
    design_flow = models.FloatField(help_text="Largest solution flow to test, m³/s")
    design_flow_typed = models.CharField(max_length=40)
    required_minutes = models.FloatField(help_text="Required discharge time, minutes")
    criterion = models.CharField(max_length=24, choices=criteria.choices, default=criteria.COMMON)
    custom_lower = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    custom_upper = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    criterion_source = models.CharField(
        max_length=200, blank=True, help_text="Code and edition that the limits come from"
    )
    commissioned_on = models.DateField()
    retired_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["site_id", "name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "name"],
                condition=Q(retired_on=None),
                name="system_name_once",
                violation_error_message="This site already has a system with that name.",
            ),
            models.CheckConstraint(
                condition=Q(minimum_flow__gt=0, minimum_flow__lte=F("design_flow")),
                name="system_flows_in_order",
                violation_error_message="Minimum flow must be above 0 and at most the design flow.",
            ),
            models.CheckConstraint(
                condition=Q(required_minutes__gt=0),
                name="system_required_minutes_positive",
                violation_error_message="The required discharge time must be above 0 minutes.",
            ),
            models.CheckConstraint(
                condition=Q(retired_on=None) | Q(retired_on__gte=F("commissioned_on")),
                name="system_days_in_order",
                violation_error_message="It was commissioned after the day it is retired.",
            ),
            models.CheckConstraint(
                condition=(
                    (~Q(criterion="custom") & Q(custom_lower=None, custom_upper=None))
                    | Q(
                        criterion="custom",
                        custom_lower__gte=0,
                        custom_lower__lt=F("custom_upper"),
                        custom_upper__lte=100,
                    )
                ),
                name="system_limits_in_order",
                violation_error_message=(
                    "Limits of its own need both a lower and a higher upper percent, 0 to 100; "
                    "under any other criterion both stay empty."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Proportioner(Tracked, Scoped):
    """The device that mixes concentrate into water, with what its maker lists."""

    class Kind(models.TextChoices):
        BLADDER_TANK = "bladder_tank", "Bladder tank"
        PRESSURE_TANK = "pressure_tank", "Pressure tank without bladder"
        BALANCED_PRESSURE = "balanced_pressure", "Balanced pressure"
        IN_LINE_BALANCED = "in_line_balanced", "In-line balanced"
        POSITIVE_DISPLACEMENT = "positive_displacement", "Positive displacement pump"
        WATER_MOTOR = "water_motor", "Water-motor pump"
        LINE_EDUCTOR = "line_eductor", "Line eductor"
        AROUND_THE_PUMP = "around_the_pump", "Around the pump"
        ELECTRONIC = "electronic", "Electronic injection"
        PREMIX = "premix", "Premixed solution, no device"
        VEHICLE = "vehicle", "On a rescue vehicle"

    site_path = "system__site"
    system = models.ForeignKey(FoamSystem, models.PROTECT, related_name="proportioners")
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="proportioners")
    tag = models.CharField(max_length=40)
    kind = models.CharField(max_length=24, choices=Kind.choices)
    nominal_percent = models.DecimalField(max_digits=5, decimal_places=3)
    lowest_listed_flow = models.FloatField(null=True, blank=True, help_text="m³/s")
    lowest_listed_flow_typed = models.CharField(max_length=40, blank=True)
    highest_listed_flow = models.FloatField(null=True, blank=True, help_text="m³/s")
    highest_listed_flow_typed = models.CharField(max_length=40, blank=True)
    # The order comes from the maker's manual, so it is data: one step a line.
    flush_order = models.JSONField(default=list)
    # What has to be back in its normal position after a test: one line each. Empty while nobody
    # wrote a list for this device: it then follows the valves of the register.
    restoration_order = models.JSONField(default=list, blank=True)
    # From papers older than this record, so that a new installation does not call all of it late.
    earlier_test_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["system_id", "tag", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["system", "tag"],
                condition=Q(retired_on=None),
                name="proportioner_tag_once",
                violation_error_message="This system already has a proportioner with that tag.",
            ),
            models.CheckConstraint(
                condition=Q(nominal_percent__gt=0, nominal_percent__lte=100),
                name="nominal_percent_in_range",
                violation_error_message="The nominal percent is above 0 and at most 100.",
            ),
            models.CheckConstraint(
                condition=Q(lowest_listed_flow=None)
                | Q(highest_listed_flow=None)
                | Q(lowest_listed_flow__lte=F("highest_listed_flow")),
                name="listed_flows_in_order",
                violation_error_message="The lowest listed flow is above the highest.",
            ),
        ]

    def __str__(self) -> str:
        return self.tag


class FlowPoint(Tracked, Scoped):
    """A named solution flow at which the proportioner is tested; at least minimum and design."""

    site_path = "proportioner__system__site"
    proportioner = models.ForeignKey(Proportioner, models.PROTECT, related_name="flow_points")
    name = models.CharField(max_length=40)
    flow = models.FloatField(help_text="m³/s")
    flow_typed = models.CharField(max_length=40)
    retired_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["proportioner_id", "flow", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["proportioner", "name"],
                condition=Q(retired_on=None),
                name="flow_point_name_once",
                violation_error_message="Two flow points have the same name.",
            ),
            models.CheckConstraint(
                condition=Q(flow__gt=0),
                name="flow_point_flow_positive",
                violation_error_message="The flow of a flow point is above 0.",
            ),
        ]

    def __str__(self) -> str:
        return self.name
