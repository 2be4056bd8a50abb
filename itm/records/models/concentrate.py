"""The concentrate check: what stands in a tank, by its samples and what was measured of them."""

import uuid
from pathlib import PurePath
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation, User
from itm.core.figures import day
from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.tests import ProportioningTest
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site, Tank

State = ProportioningTest.State


def of_the_check(org: int | None) -> Q:
    return Q(concentrate_check__organisation=org)


def where_check(kind: str, path: str = "") -> Q:
    """Drafts show to their author's organisation alone; the authority sees sealed checks."""
    if kind == "owner":
        return Q(**{f"{path}state__in": ["handed_in", "sealed"]})
    return Q(**{f"{path}state": "sealed"})


class ConcentrateCheck(Tracked, Scoped):
    """One check of one tank: draft → handed in → sealed, like a test. It may last for weeks: a
    laboratory answers when it answers, and sending a bottle away completes nothing."""

    class Purpose(models.TextChoices):
        PERIODIC = "periodic", "periodic"
        AFTER_CHANGE = "after_change", "after a change"
        AGAIN = "again", "sampled again"

    State = State
    site_path = "site"
    open_by_link = True
    guard = "sealed"
    # What a record is without what handing it in gave it.
    NOT_HANDED_IN: ClassVar[dict[str, Any]] = {
        "limits": "", "strength": "", "layers": "", "handed_in_at": None, "handed_in_by": None,
    }  # fmt: skip
    site = models.ForeignKey(Site, models.PROTECT, related_name="concentrate_checks")
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="concentrate_checks")
    organisation = models.ForeignKey(
        Organisation, models.PROTECT, related_name="concentrate_checks"
    )
    purpose = models.CharField(max_length=14, choices=Purpose.choices)
    checked_on = models.DateField(help_text="Day of the samples, on the site's own clock")
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    circulated = models.BooleanField(
        default=False, help_text="The tank was circulated before the samples were taken"
    )
    # Frozen when it is begun, by value: a later edition or certificate changes no statement.
    basis = models.JSONField(default=dict, help_text="What ought to stand in the tank")
    criteria = models.JSONField(default=list, help_text="Limits, each with source and edition")
    u_refractive_index = models.DecimalField(max_digits=8, decimal_places=6)
    u_density = models.DecimalField(max_digits=6, decimal_places=3, help_text="kg/m³")
    notes = models.TextField(max_length=2000, blank=True)
    # The plain outcome of the evaluation that was handed in, so that lists need not open results.
    limits = models.CharField(max_length=16, blank=True)
    strength = models.CharField(max_length=16, blank=True)
    layers = models.CharField(max_length=16, blank=True)
    handed_in_at = models.DateTimeField(null=True, blank=True)
    handed_in_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="handed_in_checks"
    )
    amends = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="amendments"
    )
    amendment_reason = models.CharField(max_length=500, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-checked_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="sealed", sealed_at__isnull=False)
                | (~Q(state="sealed") & Q(sealed_at=None)),
                name="sealed_check_has_its_instant",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["handed_in", "sealed"])
                | (Q(handed_in_at__isnull=False) & ~Q(limits="")),
                name="handed_in_check_has_its_result",
            ),
            models.CheckConstraint(
                condition=Q(u_refractive_index__gt=0, u_density__gt=0),
                name="check_uncertainty_positive",
                violation_error_message="A standard uncertainty is above 0.",
            ),
            models.CheckConstraint(
                condition=Q(amends=None, amendment_reason="")
                | (Q(amends__isnull=False) & ~Q(amendment_reason="")),
                name="check_amendment_says_why",
                violation_error_message="An amendment names the record it corrects and says why.",
            ),
            models.UniqueConstraint(
                fields=["amends"],
                condition=~Q(state="abandoned") & Q(amends__isnull=False),
                name="one_amendment_a_check",
                violation_error_message="This record is already corrected by another one.",
            ),
        ]
        indexes = [
            models.Index(fields=["tank", "state", "checked_on"], name="check_of_tank"),
            models.Index(fields=["site", "state"], name="check_of_site"),
        ]

    def __str__(self) -> str:
        return f"Concentrate check of {self.tank} on {day(self.checked_on)}"

    @staticmethod
    def open_to(kind: str) -> Q:
        return where_check(kind)

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(organisation=organisation_id)

    @property
    def maker_id(self) -> int:
        """The organisation whose record it is."""
        return self.organisation_id

    @property
    def programmes(self) -> list[str]:
        """Those whose limits were frozen into it, by code."""
        return list(dict.fromkeys(one["of"] for one in self.criteria if one["of"] != "lot"))


def report_path(report: "LaboratoryReport", filename: str) -> str:
    """Nothing of the name that a person gave a file reaches the disk."""
    return f"laboratory/{uuid.uuid4().hex}{PurePath(filename).suffix}"


class LaboratoryReport(Tracked, Scoped):
    """The paper of a laboratory on one bottle or several of a check. Its file proves its bytes."""

    site_path = "concentrate_check__site"
    guard = "sealed"
    guard_parent = "concentrate_check"
    concentrate_check = models.ForeignKey(
        ConcentrateCheck, models.PROTECT, related_name="laboratory_reports"
    )
    laboratory = models.CharField(max_length=120)
    number = models.CharField(max_length=60)
    reported_on = models.DateField()
    name = models.CharField(max_length=120)
    content_type = models.CharField(max_length=80)
    file = models.FileField(upload_to=report_path)
    size = models.PositiveIntegerField(help_text="bytes")
    sha256 = models.CharField(max_length=64)
    added_by = models.CharField(max_length=120)
    added_at = models.DateTimeField()
    withdrawn_reason = models.CharField(max_length=200, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["concentrate_check_id", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["concentrate_check", "laboratory", "number"],
                condition=Q(withdrawn_reason=""),
                name="laboratory_report_once",
                violation_error_message="This report of this laboratory is already here.",
            ),
            models.CheckConstraint(
                condition=~Q(laboratory="") & ~Q(number=""),
                name="laboratory_report_is_named",
                violation_error_message="A report has its laboratory and its number.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.laboratory}, {self.number}"

    @staticmethod
    def open_to(kind: str) -> Q:
        return where_check(kind, "concentrate_check__")

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return of_the_check(organisation_id)


class SampleQuerySet(ScopedQuerySet):
    def in_use(self) -> "SampleQuerySet":
        """Without the bottles that were withdrawn."""
        return self.filter(withdrawn_reason="")


class ConcentrateSample(Tracked, Scoped):
    """One bottle from one point of the tank, on its way until its result is in."""

    class Point(models.TextChoices):
        TOP = "top", "top"
        MIDDLE = "middle", "middle"
        BOTTOM = "bottom", "bottom"
        RECIRCULATED = "recirculated", "return of the circulated tank"
        OUTLET = "outlet", "concentrate outlet"

    site_path = "concentrate_check__site"
    guard = "sealed"
    guard_parent = "concentrate_check"
    concentrate_check = models.ForeignKey(ConcentrateCheck, models.PROTECT, related_name="samples")
    # By value, so that the database itself keeps labels apart: the laboratory knows nothing else.
    organisation = models.ForeignKey(
        Organisation, models.PROTECT, related_name="concentrate_samples"
    )
    label = models.CharField(max_length=40, help_text="As it stands on the bottle")
    point = models.CharField(max_length=14, choices=Point.choices)
    taken_at = models.DateTimeField()
    taken_by = models.CharField(max_length=120)
    look = models.CharField(
        max_length=200, blank=True, help_text="Colour, smell, layers, skin, sediment"
    )
    laboratory = models.CharField(max_length=120, blank=True)
    sent_on = models.DateField(null=True, blank=True)
    consignment = models.CharField(max_length=60, blank=True, help_text="Number of the dispatch")
    received_on = models.DateField(null=True, blank=True, help_text="Day it reached the laboratory")
    report = models.ForeignKey(
        LaboratoryReport, models.PROTECT, null=True, blank=True, related_name="samples"
    )
    # In an amendment the same bottle stands once more, with the label that it bears.
    copied = models.BooleanField(default=False, editable=False)
    withdrawn_reason = models.CharField(max_length=200, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = SampleQuerySet.as_manager()

    class Meta:
        ordering = ["concentrate_check_id", "taken_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "label"],
                condition=Q(copied=False),
                name="sample_label_once",
                violation_error_message=(
                    "Another bottle of your organisation has that label; a laboratory tells "
                    "bottles by nothing else."
                ),
            ),
            models.CheckConstraint(
                condition=Q(sent_on=None, received_on=None)
                | Q(sent_on__isnull=False)
                & ~Q(laboratory="")
                & (Q(received_on=None) | Q(received_on__gte=models.F("sent_on"))),
                name="sample_goes_before_it_comes",
                violation_error_message=(
                    "A bottle that was sent names its laboratory, and arrives on that day or later."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @staticmethod
    def open_to(kind: str) -> Q:
        return where_check(kind, "concentrate_check__")

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return of_the_check(organisation_id)

    @property
    def under_way(self) -> bool:
        """Sent to a laboratory that has not reported."""
        return self.sent_on is not None and self.report_id is None and not self.withdrawn_reason


class SampleValue(Tracked):
    """One property of one bottle, as measured. Never changed: another is a new value beside it."""

    class Origin(models.TextChoices):
        OWN = "own", "measured by the crew"
        LABORATORY = "laboratory", "from the laboratory's report"

    part_of = "sample"
    guard = "sealed"
    guard_parent = "sample"
    sample = models.ForeignKey(ConcentrateSample, models.PROTECT, related_name="values")
    name = models.CharField(max_length=32, help_text="Property, as the engine names it")
    value_typed = models.CharField(max_length=40, help_text="Number and unit")
    value = models.DecimalField(max_digits=20, decimal_places=9, help_text="Unit of the engine")
    temperature_typed = models.CharField(max_length=20, blank=True)
    temperature_c = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    origin = models.CharField(max_length=10, choices=Origin.choices)
    method = models.CharField(max_length=120, blank=True, help_text="By what it was measured")
    measured_on = models.DateField(null=True, blank=True, help_text="Where that was noted")
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=120)
    set_aside_reason = models.CharField(max_length=200, blank=True)
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_by = models.CharField(max_length=120, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["sample_id", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["sample", "name"],
                condition=Q(set_aside_at=None),
                name="one_value_in_force",
                violation_error_message=(
                    "This property of this bottle has a value already; set that one aside with "
                    "its reason first."
                ),
            ),
            models.CheckConstraint(
                condition=Q(set_aside_at=None, set_aside_reason="")
                | (Q(set_aside_at__isnull=False) & ~Q(set_aside_reason="")),
                name="value_set_aside_says_why",
                violation_error_message="A value set aside carries its reason.",
            ),
        ]

    def __str__(self) -> str:
        return self.value_typed
