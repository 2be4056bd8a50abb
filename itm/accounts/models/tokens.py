"""What lets a program act for a person."""

from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from itm.accounts.models.people import Membership
from itm.core.history import Tracked, TrackedQuerySet

if TYPE_CHECKING:
    from itm.accounts.actor import Actor


class ApiTokenQuerySet(TrackedQuerySet):
    def visible_to(self, actor: "Actor") -> Self:
        """The organisation's own, whoever made them."""
        if actor.organisation_id is None:
            return self.none()
        return self.filter(membership__organisation=actor.organisation_id)


class ApiToken(Tracked):
    """Lets a program act for the person who made it, in one organisation.

    The token itself is shown once and never kept: a prefix finds the row, a digest proves it. It
    hangs on the membership, so that it ends with the person's time in the organisation.
    """

    class Scope(models.TextChoices):
        READ = "read", "Read what you may see"
        HAND_IN = (
            "hand_in", "Hand in test days, inspections, visits of an authority, entries of devices"
        )  # fmt: skip
        REGISTRY = "registry", "Change sites, lots and instruments"
        RULES = "rules", "Say when overdue is a deficiency, and how long records are kept"
        EVALUATE = "evaluate", "Compute a bench without storing anything"

    # The digest is of a secret; the last use says who looked and not who changed what.
    derived = frozenset({"digest", "last_used_at"})
    owner_path = "membership__organisation"
    membership = models.ForeignKey(Membership, models.PROTECT, related_name="tokens")
    name = models.CharField(max_length=80, help_text="Which program uses it, and where it runs")
    prefix = models.CharField(max_length=12, unique=True)
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the whole token")
    scopes = models.CharField(max_length=60, help_text="Words apart by a space")
    made_at = models.DateTimeField()
    expires_on = models.DateField(help_text="The last day on which it works, in UTC")
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                "membership",
                condition=Q(revoked_at=None),
                name="token_name_once",
                violation_error_message=(
                    "You already have a token of that name: revoke it first, or say in the name "
                    "what sets this one apart."
                ),
            ),
            models.CheckConstraint(
                condition=~Q(scopes=""),
                name="token_may_something",
                violation_error_message="A token that may do nothing is of no use: tick something.",
            ),
            models.CheckConstraint(
                condition=Q(revoked_at=None) | Q(revoked_at__gte=F("made_at")),
                name="token_revoked_after_it_was_made",
                violation_error_message="A token is revoked after it was made.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def allowed(self) -> frozenset[str]:
        return frozenset(self.scopes.split())

    @property
    def allowed_in_words(self) -> list[str]:
        return [str(scope.label) for scope in self.Scope if scope in self.allowed]
