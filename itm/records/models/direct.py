"""What a direct test rests on: its meters or its vessel, and what was read at each flow point."""

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.density import DensityFrom
from itm.records.models.tests import FlowRun, ProportioningTest
from itm.registry.models import Instrument


def _si(unit: str) -> models.FloatField:
    return models.FloatField(null=True, blank=True, help_text=unit)


def _typed() -> models.CharField:
    return models.CharField(max_length=40, blank=True)


class DirectSetup(Tracked):
    """With what the flow points of a direct test are measured, once for all of them."""

    class MeterIn(models.TextChoices):
        SOLUTION = "solution", "in the solution, after the proportioner"
        WATER = "water", "in the water, before the proportioner"

    class Liquid(models.TextChoices):
        WATER = "water", "water"
        SURROGATE = "surrogate", "a surrogate liquid that flows like the concentrate"

    class Shape(models.TextChoices):
        STANDING = "standing_cylinder", "standing cylinder"
        LYING = "lying_cylinder", "lying cylinder"
        SPHERE = "sphere", "sphere"
        BOX = "box", "box"

    class Heads(models.TextChoices):
        FLAT = "flat", "flat"
        ELLIPSOIDAL = "ellipsoidal", "ellipsoidal, 2:1"
        TORISPHERICAL = "torispherical", "torispherical"

    part_of = "test"
    guard = "sealed"
    guard_parent = "test"
    test = models.OneToOneField(ProportioningTest, models.PROTECT, related_name="direct")
    # A meter is the contractor's own instrument, or one that is fitted at the site, in words.
    concentrate_meter = models.ForeignKey(
        Instrument, models.PROTECT, null=True, blank=True, related_name="concentrate_meter_of"
    )
    concentrate_fitted = models.CharField(max_length=120, blank=True)
    concentrate_accuracy = _si("share of the reading that it may be off, %")
    concentrate_accuracy_typed = _typed()
    meter_in = models.CharField(max_length=8, choices=MeterIn.choices, blank=True)
    second_meter = models.ForeignKey(
        Instrument, models.PROTECT, null=True, blank=True, related_name="second_meter_of"
    )
    second_fitted = models.CharField(max_length=120, blank=True)
    second_accuracy = _si("share of the reading that it may be off, %")
    second_accuracy_typed = _typed()
    liquid = models.CharField(max_length=10, choices=Liquid.choices, blank=True)
    liquid_name = models.CharField(max_length=120, blank=True)
    shape = models.CharField(max_length=20, choices=Shape.choices, blank=True)
    heads = models.CharField(max_length=16, choices=Heads.choices, blank=True)
    diameter = _si("m inside")
    diameter_typed = _typed()
    length = _si("m, of a cylinder without its heads")
    length_typed = _typed()
    width = _si("m")
    width_typed = _typed()
    height = _si("m")
    height_typed = _typed()
    level_step = _si("m that a reading of the level can tell apart")
    level_step_typed = _typed()
    # By weight: a tank or drum on a scale, and the density that makes a volume of it.
    scale = models.CharField(max_length=120, blank=True)
    scale_step = _si("kg that the scale can tell apart")
    scale_step_typed = _typed()
    scale_error = _si("kg that a reading of the scale may be off, either way")
    scale_error_typed = _typed()
    density = _si("kg/m³ of the concentrate")
    density_typed = _typed()
    density_error = _si("kg/m³ that it may be off, either way")
    density_error_typed = _typed()
    density_from = models.CharField(max_length=12, choices=DensityFrom.choices, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(concentrate_accuracy=None) | Q(concentrate_accuracy__gt=0))
                & (Q(second_accuracy=None) | Q(second_accuracy__gt=0))
                & (Q(level_step=None) | Q(level_step__gt=0)),
                name="direct_steps_positive",
                violation_error_message="An accuracy and a step of the level are above 0.",
            ),
            models.CheckConstraint(
                condition=(Q(diameter=None) | Q(diameter__gt=0))
                & (Q(length=None) | Q(length__gt=0))
                & (Q(width=None) | Q(width__gt=0))
                & (Q(height=None) | Q(height__gt=0)),
                name="direct_sizes_positive",
                violation_error_message="A size of the vessel is above 0.",
            ),
            models.CheckConstraint(
                condition=(Q(scale_step=None) | Q(scale_step__gt=0))
                & (Q(scale_error=None) | Q(scale_error__gt=0))
                & (Q(density=None) | Q(density__gt=0))
                & (Q(density_error=None) | Q(density_error__gt=0)),
                name="direct_scale_positive",
                violation_error_message=(
                    "A step and an error of a scale are above 0, and so is a density."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"How {self.test} is measured"


class DirectRun(Tracked):
    """What was read at one flow point of a direct test, as typed and in SI."""

    class Read(models.TextChoices):
        RATE = "rate", "a flow, as the display shows it"
        TOTALISER = "totaliser", "a totaliser, before and after"

    class SecondRead(models.TextChoices):
        DISCHARGE = "discharge", "noted at the discharge: by meter, or by pitot at outlets"
        RATE = "rate", "a flow, as the display shows it"
        TOTALISER = "totaliser", "a totaliser, before and after"

    class Source(models.TextChoices):
        METER = "meter", "flow meter"
        NAMEPLATE = "nameplate", "taken from the nameplate"

    part_of = "run"
    guard = "sealed"
    guard_parent = "run"
    run = models.OneToOneField(FlowRun, models.PROTECT, related_name="direct")
    duration = _si("s")
    duration_typed = _typed()
    concentrate_source = models.CharField(max_length=10, choices=Source.choices, blank=True)
    concentrate_read = models.CharField(max_length=10, choices=Read.choices, blank=True)
    concentrate_flow = _si("m³/s")
    concentrate_flow_typed = _typed()
    concentrate_start = _si("m³")
    concentrate_start_typed = _typed()
    concentrate_end = _si("m³")
    concentrate_end_typed = _typed()
    second_source = models.CharField(max_length=10, choices=Source.choices, blank=True)
    second_read = models.CharField(
        max_length=10, choices=SecondRead.choices, default=SecondRead.DISCHARGE
    )
    second_flow = _si("m³/s")
    second_flow_typed = _typed()
    second_start = _si("m³")
    second_start_typed = _typed()
    second_end = _si("m³")
    second_end_typed = _typed()
    level_before = _si("m above the lowest point inside")
    level_before_typed = _typed()
    level_after = _si("m above the lowest point inside")
    level_after_typed = _typed()
    mass_before = _si("kg, with whatever stands on the scale")
    mass_before_typed = _typed()
    mass_after = _si("kg, with whatever stands on the scale")
    mass_after_typed = _typed()
    # Another liquid: the sealed test with foam that it is compared with, by value at Prepare.
    foam_record = models.UUIDField(null=True, blank=True)
    foam_name = models.CharField(max_length=160, blank=True)
    foam_on = models.DateField(null=True, blank=True)
    foam_percent = _si("% by volume")
    foam_uncertainty = _si("standard uncertainty, % by volume")
    foam_degrees_of_freedom = _si("of that uncertainty")
    foam_flow = _si("m³/s of solution")
    # What the other liquid read at that flow when the foam was tested.
    beside_on = models.DateField(null=True, blank=True)
    beside_source = models.CharField(max_length=160, blank=True)
    beside_liquid_flow = _si("m³/s")
    beside_liquid_flow_typed = _typed()
    beside_second_flow = _si("m³/s")
    beside_second_flow_typed = _typed()
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["run_id"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(duration=None) | Q(duration__gt=0))
                & (Q(concentrate_flow=None) | Q(concentrate_flow__gt=0))
                & (Q(second_flow=None) | Q(second_flow__gt=0))
                & (Q(beside_liquid_flow=None) | Q(beside_liquid_flow__gt=0))
                & (Q(beside_second_flow=None) | Q(beside_second_flow__gt=0)),
                name="direct_run_above_zero",
                violation_error_message="A flow and a duration are above 0.",
            ),
            models.CheckConstraint(
                condition=(
                    Q(concentrate_start=None)
                    | Q(concentrate_end=None)
                    | Q(concentrate_end__gt=F("concentrate_start"))
                )
                & (Q(second_start=None) | Q(second_end=None) | Q(second_end__gt=F("second_start"))),
                name="direct_totalisers_count_up",
                violation_error_message="A totaliser shows more after the run than before.",
            ),
            models.CheckConstraint(
                condition=Q(level_before=None)
                | Q(level_after=None)
                | Q(level_after__lt=F("level_before")),
                name="direct_level_sinks",
                violation_error_message="The level after the run lies below that before it.",
            ),
            models.CheckConstraint(
                condition=(Q(mass_before=None) | Q(mass_before__gte=0))
                & (Q(mass_after=None) | Q(mass_after__gte=0))
                & (Q(mass_before=None) | Q(mass_after=None) | Q(mass_after__lt=F("mass_before"))),
                name="direct_weight_sinks",
                violation_error_message="The scale shows less after the run than before it.",
            ),
        ]

    def __str__(self) -> str:
        return f"Measured at {self.run}"
