"""What was asked under which key, and what it was answered."""

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from itm.accounts.models import Organisation


class Receipt(models.Model):
    """One thing that a device or program asked for, under a key of its own.

    No business fact: it says nothing about a site that the rows themselves do not say better, and
    no person reads it. So it keeps no history and has no guard, and old ones may be cleared away;
    what was made under the key has both.
    """

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="receipts")
    key = models.UUIDField()
    what = models.CharField(max_length=40, help_text="Kind of thing asked for")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the canonical body")
    # Null only inside the transaction that does the work: nobody else ever reads it so.
    answer = models.JSONField(encoder=DjangoJSONEncoder, null=True)
    taken_at = models.DateTimeField(help_text="By the clock of the server")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "key"],
                name="receipt_key_once",
                violation_error_message="Something was already asked for under this key.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.key}"
