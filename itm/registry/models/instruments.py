"""Instruments that read the bench or a flow, and the certificates of their calibration."""

from decimal import Decimal
from typing import Self

from django.db import models
from django.db.models import F, Q

from calc.inverse import reading_width
from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.history import Tracked, TrackedQuerySet


class InstrumentQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """The organisation's own; others read an instrument through the record that names it."""
        if actor.organisation_id is None:
            return self.none()
        return self.filter(organisation=actor.organisation_id)


def _times_the_step(times: int) -> Q:
    """A division of so many steps, give or take what a database without decimals makes of it."""
    dust = Decimal("0.001")
    return Q(
        division__gt=F("resolution") * (times - dust), division__lt=F("resolution") * (times + dust)
    )


class Instrument(Tracked):
    """A refractometer, conductivity meter or flow meter, in the unit of its own display."""

    class Method(models.TextChoices):
        REFRACTIVE_INDEX = "refractive_index", "Refractive index (nD)"
        BRIX = "brix", "Brix scale"
        CONDUCTIVITY = "conductivity", "Conductivity"
        FLOW = "flow", "Flow"

    class Unit(models.TextChoices):
        NONE = "", "no unit (nD)"
        BRIX = "% Brix", "% Brix"
        MICROSIEMENS = "µS/cm", "µS/cm"
        MILLISIEMENS = "mS/cm", "mS/cm"
        LITRES_A_MINUTE = "L/min", "L/min"
        LITRES_A_SECOND = "L/s", "L/s"
        CUBIC_METRES_AN_HOUR = "m³/h", "m³/h"
        US_GALLONS_A_MINUTE = "US gpm", "US gpm"

    owner_path = "organisation"
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="instruments")
    name = models.CharField(max_length=80)
    serial_number = models.CharField(max_length=60)
    method = models.CharField(max_length=20, choices=Method.choices)
    unit = models.CharField(max_length=8, choices=Unit.choices, blank=True)
    resolution = models.DecimalField(
        max_digits=10, decimal_places=6,
        help_text="One step of the display, or what is read between the marks of a scale, in its "
        "unit",
    )  # fmt: skip
    # Of a scale with marks that is read between them; a display has none.
    division = models.DecimalField(
        max_digits=10, decimal_places=6, null=True, blank=True,
        help_text="From one mark of an analogue scale to the next, in its unit",
    )  # fmt: skip
    repeatability = models.DecimalField(
        max_digits=10, decimal_places=6, null=True, blank=True,
        help_text="Standard deviation of one reading as the maker states it, in its unit",
    )  # fmt: skip
    temperature_compensated = models.BooleanField(default=False)
    # As its manual states it; beyond, the display follows nothing that is known.
    compensates_from_c = models.DecimalField(
        max_digits=4, decimal_places=1, null=True, blank=True,
        help_text="Lowest temperature that it compensates, °C",
    )  # fmt: skip
    compensates_to_c = models.DecimalField(
        max_digits=4, decimal_places=1, null=True, blank=True,
        help_text="Highest temperature that it compensates, °C",
    )  # fmt: skip
    retired_on = models.DateField(null=True, blank=True)
    objects = InstrumentQuerySet.as_manager()

    class Meta:
        ordering = ["name", "serial_number", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "serial_number"],
                name="instrument_serial_once",
                violation_error_message="You already have an instrument with that serial number.",
            ),
            models.CheckConstraint(
                condition=Q(resolution__gt=0) & (Q(repeatability=None) | Q(repeatability__gt=0)),
                name="instrument_steps_positive",
                violation_error_message=(
                    "Resolution is above 0; repeatability is above 0 or left empty."
                ),
            ),
            models.CheckConstraint(
                # Halves, fifths and tenths: what people read by eye (common practice, no source).
                condition=Q(division=None)
                | _times_the_step(2)
                | _times_the_step(5)
                | _times_the_step(10),
                name="instrument_read_to_a_part",
                violation_error_message=(
                    "Between two marks a half, a fifth or a tenth of a division is read: with "
                    "divisions of 0.1 the step is 0.05, 0.02 or 0.01. Read to the nearest mark, "
                    "leave the division empty."
                ),
            ),
            models.CheckConstraint(
                condition=Q(compensates_from_c=None, compensates_to_c=None)
                # An unknown bound would leave the comparison unknown, which passes as a check.
                | Q(
                    temperature_compensated=True,
                    compensates_from_c__isnull=False,
                    compensates_to_c__isnull=False,
                    compensates_from_c__lt=F("compensates_to_c"),
                ),
                name="instrument_compensates_in_range",
                violation_error_message=(
                    "The range of compensation has a lowest and a higher temperature, and belongs "
                    "to an instrument that corrects for temperature itself."
                ),
            ),
            models.CheckConstraint(
                condition=Q(method="refractive_index", unit="")
                | Q(method="brix", unit="% Brix")
                | Q(method="conductivity", unit__in=["µS/cm", "mS/cm"])
                | Q(method="flow", unit__in=["L/min", "L/s", "m³/h", "US gpm"]),
                name="instrument_unit_fits_method",
                violation_error_message=(
                    "The unit does not fit: nD has none, a Brix scale reads %% Brix, "
                    "a conductivity meter µS/cm or mS/cm, a flow meter L/min, L/s, m³/h or US gpm."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.serial_number})"

    @property
    def interpolated(self) -> bool:
        """Whether it is read by eye between the marks of a scale."""
        return self.division is not None

    @property
    def width(self) -> float:
        """Full width of the rectangle that stands for one reading of it, in its unit."""
        return reading_width(float(self.resolution), self.interpolated)

    @property
    def steps_in_words(self) -> str:
        """Its step, and the marks between which that is read."""
        step = f"{self.resolution.normalize():f} {self.unit}".strip()
        if self.division is None:
            return step
        marks = f"{self.division.normalize():f} {self.unit}".strip()
        return f"{step}, by eye between marks {marks} apart"

    @property
    def reads_bottles(self) -> bool:
        """Whether a bench can be read with it."""
        return self.method != self.Method.FLOW


class CertificateQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """With the instrument, and as it."""
        if actor.organisation_id is None:
            return self.none()
        return self.filter(instrument__organisation=actor.organisation_id)


class Certificate(Tracked):
    """One calibration of an instrument. Which one is in force on a day follows from the rows."""

    owner_path = "instrument__organisation"
    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="certificates")
    number = models.CharField(max_length=80)
    laboratory = models.CharField(max_length=120, blank=True)
    issued_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    # One that was entered by mistake says so and counts for nothing.
    withdrawn_because = models.CharField(max_length=200, blank=True)
    objects = CertificateQuerySet.as_manager()

    class Meta:
        ordering = [F("issued_on").desc(nulls_last=True), "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["instrument", "number"],
                condition=Q(withdrawn_because=""),
                name="certificate_number_once",
                violation_error_message="This instrument already has a certificate of that number.",
            ),
            models.CheckConstraint(
                condition=Q(issued_on=None) | Q(due_on=None) | Q(due_on__gt=F("issued_on")),
                name="certificate_days_in_order",
                violation_error_message="The next calibration is due after the day of this one.",
            ),
        ]

    def __str__(self) -> str:
        return self.number
