"""Many test days that a program handed over at once, and what became of each."""

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from itm.accounts.models import ApiToken, Organisation


class ManyDays(models.Model):
    """What was accepted with one request, and is taken day by day by a promised job.

    No business fact: each day keeps its receipt, and whatever it made has history and guard.
    """

    owner_path = "organisation"
    key = models.UUIDField(help_text="That of the request")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="many_days")
    token = models.ForeignKey(ApiToken, models.PROTECT, related_name="many_days")
    asked_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "key"], name="many_days_key_once")
        ]

    def __str__(self) -> str:
        return f"Days of {self.organisation}, {self.asked_at:%Y-%m-%d %H:%M}"


class OneOfMany(models.Model):
    """One of the days. Its document goes once it is answered: what was taken is a record, and what
    was refused its program has."""

    part_of = "many"
    many = models.ForeignKey(ManyDays, models.CASCADE, related_name="days")
    place = models.PositiveIntegerField()
    told_key = models.CharField(max_length=64, blank=True, help_text="As the program wrote it")
    asked = models.JSONField(encoder=DjangoJSONEncoder, null=True)
    answer = models.JSONField(encoder=DjangoJSONEncoder, null=True)
    tries = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["many_id", "place"]
        constraints = [
            models.UniqueConstraint(fields=["many", "place"], name="one_of_many_at_its_place"),
            models.CheckConstraint(
                condition=models.Q(asked__isnull=False) | models.Q(answer__isnull=False),
                name="one_of_many_is_asked_or_answered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.told_key or self.place} of {self.many}"
