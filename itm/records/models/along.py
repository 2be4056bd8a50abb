"""Devices that took a test day along."""

from typing import ClassVar

from django.db import models

from itm.records.models.visits import Visit


class Along(models.Model):
    """One person's part of a device with the day of one visit on it, and what it said when it was
    last heard. A shared telephone has one for each who has the day on it.

    No business fact: what was entered on it comes as entries, and this only says who may still have
    some. So it keeps no history and has no guard.
    """

    part_of: ClassVar[str] = "visit"
    visit = models.ForeignKey(Visit, models.CASCADE, related_name="along")
    device = models.UUIDField(help_text="A number that the device gave itself")
    person_key = models.UUIDField(help_text="Of the person, whose queue on the device it is")
    person = models.CharField(max_length=200)
    heard_at = models.DateTimeField(help_text="By the clock of the server")
    waiting = models.PositiveIntegerField(help_text="Entries, photos and words not sent yet")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "device", "person_key"],
                name="device_along_once",
                violation_error_message="This device has the day already.",
            )
        ]

    def __str__(self) -> str:
        return f"Device of {self.person}"
