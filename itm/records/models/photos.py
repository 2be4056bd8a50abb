"""A photo of the display, of a valve, of the place: which file shows what of a test day."""

from django.db import models
from django.db.models import Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.bench import Reading
from itm.records.models.tests import FlowRun
from itm.records.models.visits import RestorationLine, Visit
from itm.registry.models import Attachment

SHOWN = ("run", "line", "reading")


def of_one_thing() -> Q:
    """Of the visit as a whole, or of one run, line or reading."""
    out = Q(**{f"{name}__isnull": True for name in SHOWN})
    for name in SHOWN:
        rest = {f"{other}__isnull": True for other in SHOWN if other != name}
        out |= Q(**{f"{name}__isnull": False}, **rest)
    return out


class Photo(Tracked):
    """Never changed: a wrong one is withdrawn as a file, and this line stays."""

    part_of = "visit"
    guard = "append_only"
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="photos")
    run = models.ForeignKey(FlowRun, models.PROTECT, null=True, blank=True, related_name="photos")
    line = models.ForeignKey(
        RestorationLine, models.PROTECT, null=True, blank=True, related_name="photos"
    )
    reading = models.ForeignKey(
        Reading, models.PROTECT, null=True, blank=True, related_name="photos"
    )
    attachment = models.ForeignKey(Attachment, models.PROTECT, related_name="photos")
    taken_at = models.DateTimeField(help_text="By the clock of the device")
    taken_by = models.CharField(max_length=120)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["taken_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=of_one_thing(),
                name="photo_of_one_thing",
                violation_error_message="A photo shows one thing of the visit.",
            )
        ]

    def __str__(self) -> str:
        return f"Photo of {self.run or self.line or self.reading or self.visit}"
