"""What one person wants to be told of, for one organisation."""

from django.db import models
from django.db.models import Q

from itm.accounts.models import Membership

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MOST_LEAD_DAYS = 180


class Wish(models.Model):
    """A person's own choice and no business fact: it keeps no history."""

    membership = models.OneToOneField(Membership, models.PROTECT, related_name="wish")
    weekday = models.PositiveSmallIntegerField(
        null=True, blank=True, choices=enumerate(WEEKDAYS), help_text="Null: no summary mail"
    )
    lead_days = models.PositiveSmallIntegerField(default=30)
    time_zone = models.CharField(max_length=40, default="UTC")
    # No mail is owed for days before the choice, nor twice for one day.
    since = models.DateField(null=True, blank=True)
    last_for = models.DateField(null=True, blank=True)
    # Whoever is handing the mail of that day to the mail server, until when, and which try it is.
    claimed_for = models.DateField(null=True, blank=True)
    claimed_until = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    # Of systems out of service and orders; on until the person says no (`notices.at_once`).
    at_once = models.BooleanField(default=True)
    # In the product: subjects that the person does not want, apart by spaces, and the primary key
    # of the line up to which everything was read.
    not_told = models.CharField(max_length=100, blank=True)
    read_to = models.PositiveBigIntegerField(default=0)
    # The address of the calendar is a secret: only its digest is kept.
    feed_digest = models.CharField(max_length=64, null=True, unique=True)  # noqa: DJ001
    feed_made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "wishes"
        constraints = [
            models.CheckConstraint(
                condition=Q(weekday=None) | Q(weekday__lte=6, since__isnull=False),
                name="wish_weekday",
                violation_error_message="Choose a day of the week, or no mail.",
            ),
            models.CheckConstraint(
                condition=Q(lead_days__gte=1, lead_days__lte=MOST_LEAD_DAYS),
                name="wish_lead_days",
                violation_error_message=f"Between 1 and {MOST_LEAD_DAYS} days ahead.",
            ),
            models.CheckConstraint(
                condition=Q(feed_digest=None, feed_made_at=None)
                | Q(feed_digest__isnull=False, feed_made_at__isnull=False),
                name="wish_feed_whole",
            ),
            models.CheckConstraint(
                condition=Q(claimed_for=None, claimed_until=None, tries=0)
                | Q(claimed_for__isnull=False, claimed_until__isnull=False, tries__gte=1),
                name="wish_claim_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"What {self.membership} wants to be told"
