"""Photos and papers that hang on a site, on one thing there, or on a lot or an instrument."""

import uuid
from pathlib import PurePath
from typing import Any

from django.db import models
from django.db.models import Q

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.history import Tracked
from itm.core.triggers import Rule
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models.concentrate import ConcentrateLot, Tank
from itm.registry.models.equipment import Equipment
from itm.registry.models.instruments import Certificate, Instrument
from itm.registry.models.sites import Site
from itm.registry.models.systems import FoamSystem, Proportioner

TARGETS = ("system", "proportioner", "tank", "equipment")
APART = ("lot", "instrument", "certificate")  # of an organisation and at no site


def unguessable(attachment: "Attachment", filename: str) -> str:
    """Nothing of the name that a person gave a file reaches the disk."""
    return f"attachments/{uuid.uuid4().hex}{PurePath(filename).suffix}"


def on_one_thing() -> Q:
    """On a site alone, on one thing at a site, or on one thing that stands at none."""
    everything = (*TARGETS, *APART)
    out = Q(site__isnull=False, **{f"{name}__isnull": True for name in everything})
    for name in everything:
        rest = {f"{other}__isnull": True for other in everything if other != name}
        out |= Q(site__isnull=name in APART, **{f"{name}__isnull": False}, **rest)
    return out


class AttachmentQuerySet(ScopedQuerySet):
    """What hangs on a lot or an instrument shows to whom the lot or the instrument shows. What is
    held back shows to who attached it alone."""

    def _reach(self, actor: Actor) -> Q:
        own: Any = Instrument.objects.visible_to(actor)
        mine = Q(organisation=actor.organisation_id)
        return (
            (super()._reach(actor) & (Q(held_back=False) | mine))
            | Q(lot__in=ConcentrateLot.objects.visible_to(actor).values("pk"))
            | Q(instrument__in=own.values("pk"))
            | Q(certificate__instrument__in=own.values("pk"))
        )


class Attachment(Tracked, Scoped):
    """A file whose type and size were checked by its content. Withdrawn, never deleted.

    Its bytes are those that came, so that the digest proves them; what a list shows is a small
    picture made from them. Once a person has decided that they go, this line of it stays.
    """

    class ContentType(models.TextChoices):
        JPEG = "image/jpeg", "photo"
        PNG = "image/png", "picture"
        WEBP = "image/webp", "picture"
        PDF = "application/pdf", "PDF"

    site_path = "site"
    guard = "kept"
    guard_rules = {
        "same_bytes": Rule(
            "UPDATE",
            "OLD.file <> NEW.file OR OLD.preview <> NEW.preview OR OLD.sha256 <> NEW.sha256 OR "
            "OLD.size <> NEW.size OR OLD.let_go <> '' AND OLD.let_go <> NEW.let_go",
            "what a stored file is, and that it was let go, is never changed",
        )
    }
    site = models.ForeignKey(
        Site, models.PROTECT, null=True, blank=True, related_name="attachments",
        help_text="None for what hangs on a lot or an instrument",
    )  # fmt: skip
    system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    lot = models.ForeignKey(
        ConcentrateLot, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    certificate = models.ForeignKey(
        Certificate, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="attachments")
    name = models.CharField(max_length=120)
    caption = models.CharField(max_length=200, blank=True)
    content_type = models.CharField(max_length=20, choices=ContentType.choices)
    file = models.FileField(upload_to=unguessable)
    preview = models.FileField(upload_to=unguessable, blank=True)
    size = models.PositiveIntegerField(help_text="bytes")
    sha256 = models.CharField(max_length=64)
    # Of a draft, which is its author's alone until it is sealed.
    held_back = models.BooleanField(default=False)
    added_by = models.CharField(max_length=120)
    added_at = models.DateTimeField()
    # Not those of `core.withdrawing`: it is taken back too, and archives and history say `why`.
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=120, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)
    let_go = models.CharField(
        max_length=400, blank=True, help_text="When its bytes went, by whose decision, which rule"
    )
    objects = AttachmentQuerySet.as_manager()

    class Meta:
        ordering = ["-added_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=on_one_thing(),
                name="attachment_on_one_thing",
                violation_error_message=(
                    "A file hangs on a site, on one thing there, on a lot or on an instrument."
                ),
            ),
            models.CheckConstraint(
                condition=Q(
                    content_type__in=[
                        "image/jpeg", "image/png", "image/webp", "application/pdf",
                    ]
                ),
                name="attachment_of_a_known_type",
                violation_error_message="A file is a JPEG, PNG or WebP picture, or a PDF.",
            ),
            models.CheckConstraint(
                condition=Q(size__gt=0),
                name="attachment_not_empty",
                violation_error_message="This file is empty.",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None, withdrawn_by="", withdrawn_why="")
                | (Q(withdrawn_at__isnull=False) & ~Q(withdrawn_by="") & ~Q(withdrawn_why="")),
                name="attachment_withdrawn_with_a_reason",
                violation_error_message="Say why this file is withdrawn.",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.name

    @staticmethod
    def made_by(organisation_id: int | None) -> Q:
        """Who attached a file keeps it, like a record, when its time at the site is over."""
        return Q(organisation=organisation_id)

    @property
    def is_picture(self) -> bool:
        return self.content_type != self.ContentType.PDF

    @property
    def target(self) -> Any:
        there = self.system or self.proportioner or self.tank or self.equipment
        return there or self.lot or self.instrument or self.certificate or self.site

    @property
    def hangs_on(self) -> str:
        paper = self.certificate
        return f"{paper.instrument}, certificate {paper}" if paper else str(self.target)
