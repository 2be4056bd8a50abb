"""What the certificate of a lot allows of each property."""

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.registry.models.concentrate import ConcentrateLot


class LotRange(Tracked):
    """One line of a certificate: between what and what a property of this lot lies."""

    part_of = "lot"
    lot = models.ForeignKey(ConcentrateLot, models.PROTECT, related_name="ranges")
    name = models.CharField(max_length=32, help_text="Property, as the engine names it")
    lowest = models.DecimalField(max_digits=20, decimal_places=9, null=True, blank=True)
    lowest_typed = models.CharField(max_length=40, blank=True)
    highest = models.DecimalField(max_digits=20, decimal_places=9, null=True, blank=True)
    highest_typed = models.CharField(max_length=40, blank=True)
    condition = models.CharField(
        max_length=120, blank=True, help_text="At which temperature, spindle or sea water"
    )
    withdrawn = models.BooleanField(default=False, help_text="No longer on the certificate")
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["lot_id", "name"]
        constraints = [
            models.UniqueConstraint(fields=["lot", "name"], name="one_range_a_property"),
            models.CheckConstraint(
                condition=Q(withdrawn=True)
                | Q(lowest__isnull=False, highest=None)
                | Q(lowest=None, highest__isnull=False)
                # Said aloud: a comparison with nothing would let a check pass.
                | Q(lowest__isnull=False, highest__isnull=False, lowest__lte=F("highest")),
                name="lot_range_in_order",
                violation_error_message="The lowest value of a range is not above its highest.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.lot}"
