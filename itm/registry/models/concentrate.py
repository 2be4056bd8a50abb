"""Concentrate: lots, and the tanks that hold them. What goes in and out stands in movements.py."""

from typing import Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.history import Tracked, TrackedQuerySet
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import guards
from itm.registry.models.sites import Site


class Tank(Tracked, Scoped):
    """A concentrate tank. Usable volume is what lies above the suction inlet."""

    class Kind(models.TextChoices):
        BLADDER = "bladder", "Bladder tank"
        ATMOSPHERIC = "atmospheric", "Atmospheric"
        PRESSURE_NO_BLADDER = "pressure_no_bladder", "Pressure tank without bladder"

    derived = frozenset({"writing_id"})
    site_path = "site"
    guard_rules = guards.TANK
    site = models.ForeignKey(Site, models.PROTECT, related_name="tanks")
    tag = models.CharField(max_length=40)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    capacity = models.FloatField(help_text="m³")
    capacity_typed = models.CharField(max_length=40)
    usable_volume = models.FloatField(help_text="m³ that the suction inlet can reach")
    usable_volume_typed = models.CharField(max_length=40)
    installed_on = models.DateField(null=True, blank=True)
    # From papers older than this record, so that a new installation does not call all of it late.
    earlier_check_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    # Points to no tank while movements are being written, and to nothing otherwise (guards.py).
    writing = models.ForeignKey(
        "self", models.DO_NOTHING, null=True, blank=True, editable=False, related_name="+",
        db_index=False,
    )  # fmt: skip
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["site_id", "tag", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "tag"],
                condition=Q(retired_on=None),
                name="tank_tag_once",
                violation_error_message="This site already has a tank with that tag.",
            ),
            models.CheckConstraint(
                condition=Q(usable_volume__gt=0, usable_volume__lte=F("capacity")),
                name="tank_volumes_in_order",
                violation_error_message="Usable volume is above 0 and at most the capacity.",
            ),
            models.CheckConstraint(
                condition=Q(installed_on=None)
                | Q(retired_on=None)
                | Q(retired_on__gte=F("installed_on")),
                name="tank_days_in_order",
                violation_error_message="It was installed after the day it is retired.",
            ),
        ]

    def __str__(self) -> str:
        return self.tag


class LotQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """Lots of the actor's organisation, and those in a tank or store that the actor may see."""
        from itm.registry.models.stores import Store

        if actor.organisation_id is None:
            return self.none()
        in_tank = Tank.objects.visible_to(actor).filter(movements__lot=OuterRef("pk"))
        in_store = Store.objects.visible_to(actor).filter(lot=OuterRef("pk"))
        return self.filter(Q(owner=actor.organisation_id) | Exists(in_tank) | Exists(in_store))


class ConcentrateLot(Tracked):
    """One batch of concentrate as delivered, with the baseline of its certificate."""

    class Kind(models.TextChoices):
        AFFF = "afff", "AFFF"
        AR_AFFF = "ar_afff", "AR-AFFF"
        P = "p", "Protein"
        FP = "fp", "FP"
        FFFP = "fffp", "FFFP"
        AR_FFFP = "ar_fffp", "AR-FFFP"
        SFFF = "sfff", "SFFF (fluorine-free)"
        HIGH_EXPANSION = "high_expansion", "High expansion"

    class Pfas(models.TextChoices):
        CONTAINS = "contains", "Contains PFAS"
        FREE = "free", "Fluorine-free by its certificate"
        UNKNOWN = "unknown", "Not known"

    owner_path = "owner"
    owner = models.ForeignKey(Organisation, models.PROTECT, related_name="lots")
    product = models.CharField(max_length=80)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    nominal_percent = models.DecimalField(max_digits=5, decimal_places=3)
    batch = models.CharField(max_length=60)
    made_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    pfas = models.CharField(max_length=10, choices=Pfas.choices, default=Pfas.UNKNOWN)
    refractive_index = models.DecimalField(
        max_digits=7, decimal_places=5, null=True, blank=True, help_text="nD at 20 °C"
    )
    density = models.DecimalField(
        max_digits=6, decimal_places=1, null=True, blank=True, help_text="kg/m³ at 20 °C"
    )
    ph = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    objects = LotQuerySet.as_manager()

    class Meta:
        ordering = ["product", "batch", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["owner", "product", "batch"],
                name="lot_once",
                violation_error_message="This batch of this product is already in your list.",
            ),
            models.CheckConstraint(
                condition=Q(nominal_percent__gt=0, nominal_percent__lte=100),
                name="lot_nominal_in_range",
                violation_error_message="The nominal percent is above 0 and at most 100.",
            ),
            models.CheckConstraint(
                condition=Q(made_on=None) | Q(expires_on=None) | Q(expires_on__gte=F("made_on")),
                name="lot_dates_in_order",
                violation_error_message="The expiry date is before the date it was made.",
            ),
            models.CheckConstraint(
                condition=(
                    (Q(refractive_index=None) | Q(refractive_index__gt=1, refractive_index__lt=2))
                    & (Q(density=None) | Q(density__gt=0))
                    & (Q(ph=None) | Q(ph__gte=0, ph__lte=14))
                ),
                name="lot_baseline_in_range",
                violation_error_message=(
                    "A refractive index lies between 1 and 2, a density above 0, a pH in 0 to 14."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product}, batch {self.batch}"
