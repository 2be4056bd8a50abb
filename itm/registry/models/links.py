"""A dated link under which somebody without an account reads of some sites, such as an insurer."""

from datetime import date
from typing import Self

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.history import Tracked, TrackedQuerySet
from itm.registry.models.sites import Site


class ReadLinkQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """The owner's own, whoever of it made them."""
        if actor.organisation_id is None:
            return self.none()
        return self.filter(organisation=actor.organisation_id)


class ReadLink(Tracked):
    """Its secret is shown once and only the digest kept. It opens nothing that is not in the list
    of `Scoped.open_by_link`, and of a site only while that is still of the organisation."""

    derived = frozenset({"digest"})
    owner_path = "organisation"
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="read_links")
    name = models.CharField(max_length=80, help_text="Who reads with it, and what for")
    sites = models.ManyToManyField(Site, related_name="read_links")
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the secret")
    made_at = models.DateTimeField()
    ends_on = models.DateField(help_text="The last day on which it opens, in UTC")
    revoked_at = models.DateTimeField(null=True, blank=True)
    objects = ReadLinkQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                "organisation",
                condition=Q(revoked_at=None),
                name="read_link_name_once",
                violation_error_message=(
                    "There is a link of that name: revoke it first, or say what sets this one "
                    "apart."
                ),
            ),
            models.CheckConstraint(
                condition=Q(revoked_at=None) | Q(revoked_at__gte=F("made_at")),
                name="read_link_revoked_after_it_was_made",
                violation_error_message="A link is revoked after it was made.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def stands(self, today: date) -> str:
        """Why it opens or does not."""
        if self.revoked_at is not None:
            return "revoked"
        return "ran out" if self.ends_on < today else "works"


class LinkUse(models.Model):
    """That a page was opened with a link. Who held it is not known."""

    part_of = ReadLink
    guard = "append_only"
    link = models.ForeignKey(ReadLink, models.PROTECT, related_name="uses")
    at = models.DateTimeField()
    what = models.CharField(max_length=200, help_text="The page, in words")

    class Meta:
        indexes = [models.Index(fields=["link", "-at"], name="use_of_link")]

    def __str__(self) -> str:
        return f"{self.what} {self.at}"
