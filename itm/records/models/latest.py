"""The latest record of each proportioner, kept beside the records so that lists need not look."""

from django.db import models
from django.db.models import Q

from itm.records.models.tests import ProportioningTest
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Proportioner


class LatestRecord(Scoped):
    """Which sealed record in force is the latest of a proportioner, and what it leaves to do.

    It follows from the records alone (`records.latest.note` writes it when one is sealed), so it
    has no history of its own.
    """

    class NotProven(models.IntegerChoices):
        """Worst first."""

        LEAN = 1, "lean"
        RICH = 2, "rich"
        UNDECIDED = 3, "undecided"

    site_path = "proportioner__system__site"
    proportioner = models.OneToOneField(Proportioner, models.PROTECT, related_name="latest")
    test = models.OneToOneField(ProportioningTest, models.PROTECT, related_name="+")
    tested_on = models.DateField()
    rank = models.PositiveSmallIntegerField(
        null=True, choices=NotProven.choices, help_text="Empty where the record proves the device"
    )
    objects = ScopedQuerySet.as_manager()

    class Meta:
        indexes = [
            # The worst first without a look at what is proven; SQLite needs the condition in words.
            models.Index(
                fields=["rank", "tested_on"],
                condition=Q(rank__isnull=False),
                name="latest_not_proven",
            ),
        ]

    def __str__(self) -> str:
        return f"Latest record of {self.proportioner}"
