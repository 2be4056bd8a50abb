"""The bench: water, standards, concentrate and samples, and every reading in its order."""

from typing import Self

from django.db import models
from django.db.models import Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.density import DensityFrom
from itm.records.models.tests import FlowRun
from itm.records.models.visits import Visit
from itm.registry.models import ConcentrateLot, Instrument, Tank


class Bench(Tracked):
    """One instrument, water and concentrate, for all tests of the visit that share them."""

    class Compensation(models.TextChoices):
        """How the instrument was set while this bench was read. Without an answer it is as its
        own entry says."""

        NOT_SAID = "", "as the entry of the instrument says"
        ON = "on", "on for every bottle"
        OFF = "off", "off for every bottle"
        MIXED = "mixed", "on for some bottles, off for others"

    class Bottles(models.TextChoices):
        NOT_SAID = "", "not said"
        DRY = "dry", "dry"
        OWN = "own", "rinsed with what they were filled with"
        WET = "wet", "rinsed with water and left wet"
        USED = "used", "not rinsed since they were last used"

    class Kept(models.TextChoices):
        NOT_SAID = "", "not said"
        CLOSED = "closed", "closed until they were read"
        OPEN = "open", "left open"

    class StandardsBy(models.TextChoices):
        VOLUME = "", "measured by volume, mL"
        MASS = "mass", "weighed, g"

    part_of = "visit"
    guard = "sealed"
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="benches")
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="benches")
    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="benches")
    lot = models.ForeignKey(
        ConcentrateLot, models.PROTECT, null=True, blank=True, related_name="benches",
        help_text="Lot of the concentrate that the standards were made from",
    )  # fmt: skip
    water_source = models.CharField(max_length=120, blank=True)
    system_water_source = models.CharField(
        max_length=120, blank=True, help_text="Where the water of the discharge came from"
    )
    compensation = models.CharField(max_length=8, choices=Compensation.choices, blank=True)
    bottles_were = models.CharField(max_length=8, choices=Bottles.choices, blank=True)
    samples_kept = models.CharField(max_length=8, choices=Kept.choices, blank=True)
    glassware = models.CharField(
        max_length=120, blank=True, help_text="What the standards were measured with"
    )
    standards_by = models.CharField(max_length=8, choices=StandardsBy.choices, blank=True)
    # Of the undiluted concentrate: what makes volumes of the grams of weighed standards.
    density = models.FloatField(null=True, blank=True, help_text="kg/m³ of the concentrate")
    density_typed = models.CharField(max_length=40, blank=True)
    density_at = models.FloatField(null=True, blank=True, help_text="°C of that density")
    density_at_typed = models.CharField(max_length=40, blank=True)
    density_error = models.FloatField(
        null=True, blank=True, help_text="kg/m³ that it may be off, either way"
    )
    density_error_typed = models.CharField(max_length=40, blank=True)
    density_from = models.CharField(max_length=12, choices=DensityFrom.choices, blank=True)
    batch_volume_ml = models.DecimalField(max_digits=7, decimal_places=1, default=200)
    notes = models.CharField(max_length=500, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["visit_id", "pk"]
        verbose_name_plural = "benches"
        constraints = [
            models.CheckConstraint(
                condition=Q(batch_volume_ml__gt=0),
                name="bench_batch_positive",
                violation_error_message="The batch volume is above 0 mL.",
            ),
            models.CheckConstraint(
                condition=(Q(density=None) | Q(density__gt=0))
                & (Q(density_error=None) | Q(density_error__gt=0)),
                name="bench_density_positive",
                violation_error_message="A density and what it may be off by are above 0.",
            ),
        ]

    def __str__(self) -> str:
        return f"Bench of {self.visit}"

    @property
    def weighs(self) -> bool:
        """Whether its standards are weighed, as far as somebody said so."""
        return self.standards_by == self.StandardsBy.MASS

    @property
    def compensates(self) -> bool:
        """Whether the readings of this bench were corrected by the instrument."""
        return compensates(self.compensation, self.instrument)


def compensates(setting: str, instrument: Instrument) -> bool:
    """By the setting on the bench, and without one by the instrument's own entry."""
    if setting in (Bench.Compensation.ON, Bench.Compensation.OFF):
        return setting == Bench.Compensation.ON
    return instrument.temperature_compensated


class BottleQuerySet(TrackedQuerySet):
    def in_use(self) -> Self:
        """Without the bottles that were stamped by mistake and withdrawn."""
        return self.filter(withdrawn_reason="")


class Bottle(Tracked):
    """One liquid on the bench. A discharge sample belongs to the run it was caught in."""

    class Role(models.TextChoices):
        WATER = "water", "test water"
        WATER_AGAIN = "water_again", "test water, read once more"
        SYSTEM_WATER = "system_water", "water that the system was fed with"
        STANDARD = "standard", "premix standard"
        CONCENTRATE = "concentrate", "undiluted concentrate"
        SAMPLE = "sample", "discharge sample"

    part_of = "bench"
    guard = "sealed"
    # A shared bench may be sealed with the first test while the second still catches samples.
    guard_parent = "run"
    bench = models.ForeignKey(Bench, models.PROTECT, related_name="bottles")
    run = models.ForeignKey(FlowRun, models.PROTECT, null=True, blank=True, related_name="bottles")
    role = models.CharField(max_length=12, choices=Role.choices)
    label = models.CharField(max_length=40)
    position = models.PositiveSmallIntegerField(default=0)
    target_percent = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    # As made, mL, as typed; the decimals are the digits that the glassware was read to.
    concentrate_ml = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)
    water_ml = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)
    concentrate_ml_typed = models.CharField(max_length=20, blank=True)
    water_ml_typed = models.CharField(max_length=20, blank=True)
    # Or weighed, g, as typed. A standard is one or the other.
    concentrate_g = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    water_g = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    concentrate_g_typed = models.CharField(max_length=20, blank=True)
    water_g_typed = models.CharField(max_length=20, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    # Stamped by mistake: out of everything, but its label stays used and the row stays.
    withdrawn_reason = models.CharField(max_length=200, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = BottleQuerySet.as_manager()

    class Meta:
        ordering = ["bench_id", "role", "position", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["bench", "label"],
                name="bottle_label_once",
                violation_error_message="Another bottle of this bench has that label.",
            ),
            models.CheckConstraint(
                condition=Q(role="sample", run__isnull=False) | (~Q(role="sample") & Q(run=None)),
                name="sample_belongs_to_a_run",
            ),
            models.CheckConstraint(
                condition=(Q(concentrate_ml=None) | Q(concentrate_ml__gte=0))
                & (Q(water_ml=None) | Q(water_ml__gte=0)),
                name="bottle_volumes_not_negative",
                violation_error_message="A volume is 0 mL or more.",
            ),
            models.CheckConstraint(
                condition=(Q(concentrate_g=None) | Q(concentrate_g__gte=0))
                & (Q(water_g=None) | Q(water_g__gte=0)),
                name="bottle_masses_not_negative",
                violation_error_message="A mass is 0 g or more.",
            ),
            models.CheckConstraint(
                condition=Q(concentrate_ml=None, water_ml=None)
                | Q(concentrate_g=None, water_g=None),
                name="bottle_by_volume_or_by_mass",
                violation_error_message="A standard is measured by volume or weighed, not both.",
            ),
        ]

    def __str__(self) -> str:
        return self.label


class Reading(Tracked):
    """What the display showed, once. Never changed: a repeat is a new reading beside the old."""

    part_of = "bottle"
    guard = "sealed"
    guard_parent = "bottle"
    bottle = models.ForeignKey(Bottle, models.PROTECT, related_name="readings")
    sequence = models.PositiveIntegerField(help_text="Order in which the bench was read")
    value_typed = models.CharField(max_length=20)
    value = models.DecimalField(max_digits=14, decimal_places=7)
    temperature_typed = models.CharField(max_length=20, blank=True)
    temperature_c = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    read_at = models.DateTimeField()
    read_by = models.CharField(max_length=120)
    set_aside_reason = models.CharField(max_length=200, blank=True)
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_by = models.CharField(max_length=120, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["sequence", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["bottle", "sequence"], name="reading_order_once"),
            models.CheckConstraint(
                condition=Q(set_aside_at=None, set_aside_reason="")
                | (Q(set_aside_at__isnull=False) & ~Q(set_aside_reason="")),
                name="reading_set_aside_says_why",
                violation_error_message="A reading set aside carries its reason.",
            ),
        ]

    def __str__(self) -> str:
        return self.value_typed
