"""What somebody from an authority saw at a site, on a visit of its own."""

import uuid
from pathlib import PurePath

from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation
from itm.core.history import Tracked
from itm.core.withdrawing import Withdrawable, unchanged, withdrawn_whole
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Attachment, Site

STAYS = "what an authority noted of a visit is withdrawn and never changed"


class AuthorityVisit(Tracked, Scoped, Withdrawable):
    """The day, who was there and what was looked at, in words. Written once: a wrong note is
    withdrawn, and a right one may stand in its place."""

    site_path = "site"
    guard = "kept"
    guard_column = "withdrawn_at"
    guard_rules = unchanged(
        "visit",
        ("site_id", "organisation_id", "visited_on", "present", "looked_at", "noted_at",
         "noted_by"),
        STAYS, may_lack=("replaces_id",),
    )  # fmt: skip
    site = models.ForeignKey(Site, models.PROTECT, related_name="authority_visits")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="authority_visits")
    visited_on = models.DateField(help_text="Date on the site's own clock")
    present = models.CharField(max_length=400, help_text="Who was there, by name")
    looked_at = models.TextField(max_length=4000, help_text="What was looked at, and what was seen")
    noted_at = models.DateTimeField()
    noted_by = models.CharField(max_length=200)
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-visited_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(present="") & ~Q(looked_at=""),
                name="authority_visit_says_who_and_what",
                violation_error_message="Say who was there and what was looked at.",
            ),
            withdrawn_whole("authority_visit_withdrawn_is_whole"),
        ]
        indexes = [models.Index(fields=["site", "-visited_on"], name="authority_visits_of_site")]

    def __str__(self) -> str:
        return f"Visit of {self.organisation} to {self.site}"

    @staticmethod
    def open_to(kind: str) -> Q:
        """It lies between the authority and the owner; what has to be done is an order, which a
        contractor sees."""
        return Q(pk__in=[]) if kind == "contractor" else Q()

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(organisation=organisation_id)


def visit_path(row: "AuthorityFile", filename: str) -> str:
    """Nothing of the name that a person gave a file reaches the disk."""
    return f"authority/{uuid.uuid4().hex}{PurePath(filename).suffix}"


class AuthorityFile(Tracked, Scoped, Withdrawable):
    """A photo or paper of such a visit, shown to whoever may read the note. It hangs here and not
    among the files of the site, which a contractor sees."""

    site_path = "visit__site"
    guard = "kept"
    guard_column = "withdrawn_at"
    guard_rules = unchanged("file", ("visit_id", "file", "preview", "name", "sha256"), STAYS)
    visit = models.ForeignKey(AuthorityVisit, models.PROTECT, related_name="files")
    name = models.CharField(max_length=120)
    caption = models.CharField(max_length=200, blank=True)
    content_type = models.CharField(max_length=20, choices=Attachment.ContentType.choices)
    file = models.FileField(upload_to=visit_path)
    preview = models.FileField(upload_to=visit_path, blank=True)
    size = models.PositiveIntegerField(help_text="bytes")
    sha256 = models.CharField(max_length=64)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["visit_id", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(size__gt=0), name="authority_file_not_empty"),
            withdrawn_whole("authority_file_withdrawn_is_whole"),
        ]

    def __str__(self) -> str:
        return self.name

    @staticmethod
    def open_to(kind: str) -> Q:
        return Q(pk__in=[]) if kind == "contractor" else Q()

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(visit__organisation=organisation_id)

    @property
    def is_picture(self) -> bool:
        return self.content_type.startswith("image/")
