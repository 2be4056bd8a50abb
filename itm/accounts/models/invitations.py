"""Who was asked to join, by whose organisation and as what."""

from datetime import datetime
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from itm.accounts.models.people import Membership, Organisation
from itm.core.history import Tracked, TrackedQuerySet

if TYPE_CHECKING:
    from itm.accounts.actor import Actor


class InvitationQuerySet(TrackedQuerySet):
    def visible_to(self, actor: "Actor") -> Self:
        """The organisation's own, whoever of it invited."""
        if actor.organisation_id is None:
            return self.none()
        return self.filter(organisation=actor.organisation_id)


class Invitation(Tracked):
    """A mail address is asked to join an organisation, or to found one that is not here yet.

    The link of the mail is a secret of which only the digest is kept; each mail has its own, and a
    later one ends the one before. The row stays when it was accepted, withdrawn or has lapsed.
    """

    # The digest is of a secret, made when the mail leaves and nothing that anybody decided.
    derived = frozenset({"digest", "sent_at"})
    owner_path = "organisation"
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="invitations")
    founds = models.CharField(
        max_length=120, blank=True, help_text="Name of the contractor that the invited brings"
    )
    email = models.EmailField()
    role = models.CharField(max_length=12, choices=Membership.Role.choices)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    mails = models.PositiveSmallIntegerField(default=1, help_text="How many were promised")
    sent_at = models.DateTimeField(null=True, blank=True)
    digest = models.CharField(
        max_length=64, unique=True, null=True, blank=True, help_text="SHA-256 of the secret"
    )
    accepted_at = models.DateTimeField(null=True, blank=True)
    member = models.ForeignKey(
        Membership, models.PROTECT, null=True, blank=True, related_name="invitations"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    objects = InvitationQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                F("organisation"),
                Lower("email"),
                Lower("founds"),
                condition=Q(accepted_at=None, withdrawn_at=None),
                name="invitation_once",
                violation_error_message=(
                    "This address is invited already: send that invitation again, or withdraw it."
                ),
            ),
            models.CheckConstraint(
                condition=Q(accepted_at=None) | Q(withdrawn_at=None),
                name="invitation_ends_one_way",
                violation_error_message="An invitation is accepted or withdrawn, not both.",
            ),
            models.CheckConstraint(
                condition=Q(accepted_at=None, member=None)
                | Q(accepted_at__isnull=False, member__isnull=False),
                name="invitation_accepted_by_a_member",
                violation_error_message="An accepted invitation names who joined.",
            ),
            models.CheckConstraint(
                condition=Q(founds="") | Q(role="manager"),
                name="founder_is_manager",
                violation_error_message="Whoever brings an organisation manages it.",
            ),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("made_at")),
                name="invitation_lapses_after_it_was_made",
                violation_error_message="An invitation lapses after it was made.",
            ),
        ]

    def __str__(self) -> str:
        return self.email

    def stands(self, now: datetime) -> str:
        """Whether it can still be accepted, and what became of it."""
        if self.accepted_at is not None:
            return "accepted"
        if self.withdrawn_at is not None:
            return "withdrawn"
        return "open" if self.expires_at > now else "lapsed"
