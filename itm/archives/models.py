"""Archives of a site that were asked for, and those that this installation began with."""

from django.db import models
from django.db.models import Q

from itm.accounts.models import Membership
from itm.core.history import Tracked, TrackedQuerySet
from itm.core.making import Making
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site


class SiteArchive(Making, Scoped):
    """One archive of a whole site, as the owner saw it at one moment."""

    site_path = "site"
    folder = "archives"
    site = models.ForeignKey(Site, models.PROTECT, related_name="archives")
    # In whose name the worker reads, asked again when it runs.
    member = models.ForeignKey(Membership, models.PROTECT, related_name="archives")
    taken_at = models.DateTimeField(null=True, blank=True, help_text="The moment that it shows")
    files = models.PositiveIntegerField(default=0)
    rows = models.PositiveIntegerField(default=0)
    newest_seal = models.CharField(max_length=64, blank=True)
    # Files that could not be put in, each a sentence.
    lacks = models.JSONField(default=list)
    objects = ScopedQuerySet.as_manager()

    class Meta(Making.Meta):
        constraints = [
            *Making.Meta.constraints,
            models.UniqueConstraint(
                fields=["site"],
                condition=Q(state__in=["waiting", "making"]),
                name="one_archive_of_a_site_at_a_time",
                violation_error_message="An archive of this site is being made already.",
            ),
        ]

    def __str__(self) -> str:
        return f"Archive of {self.site}, {self.asked_at:%Y-%m-%d %H:%M} UTC"

    @staticmethod
    def open_to(kind: str) -> Q:
        """It holds what the owner sees, which is more than a contractor or an authority does."""
        return Q() if kind == "owner" else Q(pk__in=[])


class BroughtIn(Tracked):
    """Says that a site, with all its history, came from an archive of another installation."""

    part_of = "site"
    guard = "append_only"
    site = models.OneToOneField(Site, models.PROTECT, related_name="brought_in")
    archive_sha256 = models.CharField(max_length=64)
    manifest_sha256 = models.CharField(max_length=64)
    taken_at = models.DateTimeField(help_text="The moment that the archive shows")
    brought_at = models.DateTimeField()
    rows = models.PositiveIntegerField()
    files = models.PositiveIntegerField()
    invented = models.BooleanField(help_text="The archive came from a demo")
    objects = TrackedQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.site}, from an archive of {self.taken_at:%Y-%m-%d}"
