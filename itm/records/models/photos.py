"""A photo of the display, of a valve, of the place, of a bottle: which file shows what."""

from django.db import models
from django.db.models import Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.bench import Reading
from itm.records.models.concentrate import ConcentrateSample
from itm.records.models.tests import FlowRun
from itm.records.models.visits import RestorationLine, Visit
from itm.registry.models import Attachment

SHOWN = ("run", "line", "reading")


def of_one_thing() -> Q:
    """Of the visit as a whole, or of one run, line or reading of it; or of a bottle of a check, and
    of no visit."""
    day = Q(**{f"{name}__isnull": True for name in SHOWN})
    for name in SHOWN:
        rest = {f"{other}__isnull": True for other in SHOWN if other != name}
        day |= Q(**{f"{name}__isnull": False}, **rest)
    bottle = Q(visit__isnull=True, sample__isnull=False)
    none = Q(**{f"{name}__isnull": True for name in SHOWN})
    return (Q(visit__isnull=False, sample__isnull=True) & day) | (bottle & none)


class Photo(Tracked):
    """Never changed: a wrong one is withdrawn as a file, and this line stays."""

    part_of = "attachment"  # hangs on the site as its file does
    guard = "append_only"
    visit = models.ForeignKey(
        Visit, models.PROTECT, null=True, blank=True, related_name="photos"
    )  # fmt: skip
    run = models.ForeignKey(FlowRun, models.PROTECT, null=True, blank=True, related_name="photos")
    line = models.ForeignKey(
        RestorationLine, models.PROTECT, null=True, blank=True, related_name="photos"
    )
    reading = models.ForeignKey(
        Reading, models.PROTECT, null=True, blank=True, related_name="photos"
    )
    sample = models.ForeignKey(
        ConcentrateSample, models.PROTECT, null=True, blank=True, related_name="photos"
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
                violation_error_message="A photo shows one thing of a visit, or a bottle.",
            )
        ]

    def __str__(self) -> str:
        return f"Photo of {self.run or self.line or self.reading or self.sample or self.visit}"
