"""By when somebody has to be told of an impairment: rules as data, adopted site by site."""

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import Organisation
from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site
from itm.schedule.models.programmes import LOOKED_UP


class NoticeClock(models.Model):
    """One rule: so many hours out of service, and then somebody is told or something is done.

    With `within_hours` the hours are added up inside any stretch of that length, so that two short
    impairments of one system count together.
    """

    class Asks(models.TextChoices):
        """What answers it: a call, or something that stands in."""

        TOLD = "told", "somebody is told"
        ARRANGED = "arranged", "something is arranged"

    code = models.SlugField(max_length=60, unique=True)
    position = models.PositiveSmallIntegerField(default=0)
    words = models.CharField(max_length=300, help_text="What has to be done")
    tell = models.CharField(max_length=120, help_text="Who is told, or who sees that it is done")
    asks = models.CharField(max_length=8, choices=Asks.choices, default=Asks.TOLD)
    hours = models.PositiveSmallIntegerField(help_text="0: at once")
    within_hours = models.PositiveSmallIntegerField(null=True, blank=True)
    source = models.CharField(max_length=300)
    edition = models.CharField(max_length=80, blank=True)
    confidence = models.CharField(max_length=60)

    class Meta:
        ordering = ["position", "code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(within_hours=None) | Q(within_hours__gt=F("hours")),
                name="notice_clock_fits_its_stretch",
            )
        ]

    def __str__(self) -> str:
        return f"{self.tell}: {self.when}"

    @property
    def when(self) -> str:
        if self.hours == 0:
            return "at once"
        within = f" in any {self.within_hours}" if self.within_hours else ""
        return f"after {self.hours} h{within}"

    @property
    def needs_confirmation(self) -> bool:
        return self.confidence not in LOOKED_UP


class ClockAdoption(Tracked, Scoped):
    """An owner or an authority says that a clock holds at a site."""

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="clock_adoptions")
    clock = models.ForeignKey(NoticeClock, models.PROTECT, related_name="adoptions")
    adopter = models.ForeignKey(Organisation, models.PROTECT, related_name="clock_adoptions")
    checked_against = models.CharField(
        max_length=200, blank=True, help_text="Edition or paper that the clock was compared with"
    )
    adopted_by = models.CharField(max_length=200)
    starts_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["clock__position", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "clock", "adopter"],
                condition=Q(ended_on=None),
                name="clock_adopted_once",
                violation_error_message="You have adopted this clock here already.",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None) | Q(ended_on__gte=F("starts_on")),
                name="clock_adoption_in_order",
                violation_error_message="The last day is before the first.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.clock} at {self.site}"
