"""Files with tables that people handed in, and what was answered about them."""

import uuid
from typing import ClassVar, Self

from django.db import models
from django.db.models import Q

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models import PastBundle, ProportioningTest


def unguessable(upload: "Upload", filename: str) -> str:
    """Nothing of the name that a person gave a file reaches the disk."""
    return f"uploads/{uuid.uuid4().hex}.{upload.form}"


class UploadQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """The organisation's own: a file may hold more than what was taken from it."""
        if actor.organisation_id is None:
            return self.none()
        return self.filter(organisation=actor.organisation_id)


class Upload(Tracked):
    """One file, kept as it came, and how far its import is."""

    class Kind(models.TextChoices):
        READINGS = "readings", "Readings of a bench"
        HISTORY = "history", "Results of past years"
        PAST_CHECKS = "past_checks", "Past concentrate checks"
        PAST_INSPECTIONS = "past_inspections", "Past inspections"
        SITES = "sites", "Sites"
        SYSTEMS = "systems", "Foam systems"
        TANKS = "tanks", "Tanks"
        PROPORTIONERS = "proportioners", "Proportioners"
        EQUIPMENT = "equipment", "Equipment"
        LOTS = "lots", "Lots"
        INSTRUMENTS = "instruments", "Instruments"
        VALUES = "values", "Values of concentrate bottles"

    class Form(models.TextChoices):
        CSV = "csv", "CSV"
        XLSX = "xlsx", "XLSX"

    class State(models.TextChoices):
        WAITING = "waiting", "being read"
        OPEN = "open", "to be settled"
        READY = "ready", "ready to be taken in"
        TAKING = "taking", "being taken in"
        DONE = "done", "taken in"
        UNDONE = "undone", "taken back"
        DROPPED = "dropped", "not taken in"

    # What a look through the file finds again at any time.
    derived: ClassVar[frozenset[str]] = frozenset(("findings", "read_rows", "rows"))
    owner_path = "organisation"
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="uploads")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    test = models.ForeignKey(
        ProportioningTest, models.PROTECT, null=True, blank=True, related_name="uploads",
        help_text="Whose bench the readings belong to",
    )  # fmt: skip
    name = models.CharField(max_length=120)
    form = models.CharField(max_length=4, choices=Form.choices)
    file = models.FileField(upload_to=unguessable)
    size = models.PositiveIntegerField(help_text="bytes")
    sha256 = models.CharField(max_length=64)
    # Of what the table says, whatever the file is called and however it is written.
    content_sha256 = models.CharField(max_length=64, blank=True)
    added_by = models.CharField(max_length=200)
    added_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    answers = models.JSONField(default=dict, blank=True, help_text="By question")
    head_row = models.PositiveIntegerField(null=True, blank=True, help_text="Where people said")
    columns = models.JSONField(null=True, blank=True, help_text="Our name → column of the file")
    findings = models.JSONField(default=dict, blank=True)
    rows = models.PositiveIntegerField(default=0)
    read_rows = models.PositiveIntegerField(default=0)
    taken_at = models.DateTimeField(null=True, blank=True)
    taken_by = models.CharField(max_length=200, blank=True)
    bundle = models.OneToOneField(
        PastBundle, models.PROTECT, null=True, blank=True, related_name="upload"
    )
    made = models.JSONField(
        default=list, blank=True, help_text="Keys of the rows that it made, but of results"
    )
    filled = models.JSONField(
        default=dict, blank=True, help_text="Bottle → what was empty there and the table filled"
    )
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.CharField(max_length=200, blank=True)
    undone_because = models.CharField(max_length=200, blank=True)
    objects = UploadQuerySet.as_manager()

    class Meta:
        ordering = ["-added_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "kind", "content_sha256"],
                condition=Q(state="done", test=None),
                name="upload_content_once",
                violation_error_message="The same content was taken in already.",
            ),
            models.UniqueConstraint(
                fields=["test", "content_sha256"],
                condition=Q(state="done"),
                name="upload_content_once_a_test",
                violation_error_message="These readings were taken in already.",
            ),
            models.CheckConstraint(
                condition=(Q(kind="readings") & Q(test__isnull=False))
                | (~Q(kind="readings") & Q(test=None)),
                name="upload_of_readings_names_its_test",
                violation_error_message="Readings go to the bench of one test.",
            ),
            models.CheckConstraint(
                condition=Q(undone_at=None, undone_by="", undone_because="")
                | (Q(undone_at__isnull=False) & ~Q(undone_by="") & ~Q(undone_because="")),
                name="upload_undone_is_whole",
                violation_error_message="Say why the import is taken back.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class HeadMemory(Tracked):
    """Which heads an organisation uses for our columns, so that nobody maps them twice."""

    owner_path = "organisation"
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="head_memories")
    kind = models.CharField(max_length=16, choices=Upload.Kind.choices)
    heads = models.JSONField(
        default=dict, blank=True, help_text="Our name → heads, the latest first"
    )
    objects = UploadQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "kind"], name="head_memory_once")
        ]

    def __str__(self) -> str:
        return f"Heads of {self.organisation}, {self.kind}"
