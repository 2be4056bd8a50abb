"""Engagements that begin once an invited contractor is here."""

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import Invitation
from itm.core.history import Tracked, TrackedQuerySet
from itm.registry.models.sites import Site


class PromisedGrant(Tracked):
    """What an owner promised with an invitation. It becomes a `Grant` when that is accepted, and
    nothing when it lapses or is withdrawn."""

    owner_path = "site__owner"
    invitation = models.ForeignKey(Invitation, models.PROTECT, related_name="promised")
    site = models.ForeignKey(Site, models.PROTECT, related_name="promised")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["site__name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["invitation", "site"],
                name="promised_once",
                violation_error_message="This site is promised already.",
            ),
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                name="promised_in_order",
                violation_error_message="The last day is before the first day.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site} from {self.starts_on}"
