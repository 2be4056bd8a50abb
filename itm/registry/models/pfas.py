"""What somebody found who read a date of the law on PFAS in the text itself."""

from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation
from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models.sites import Site


class PfasDateCheck(Tracked, Scoped):
    """One reading of one row at one site. The latest counts, and the older ones stay."""

    class Found(models.TextChoices):
        HOLDS = "holds", "Holds here as it stands"
        OTHERWISE = "otherwise", "Holds here, with what the remark says"
        NOT_HERE = "not_here", "Does not concern this site"

    site_path = "site"
    guard = "append_only"
    site = models.ForeignKey(Site, models.PROTECT, related_name="pfas_date_checks")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="pfas_date_checks")
    code = models.SlugField(max_length=40)
    # By value, since a row of a file may be put right later: what was compared with the text.
    row = models.JSONField()
    found = models.CharField(max_length=10, choices=Found.choices)
    checked_against = models.CharField(
        max_length=200, help_text="The text that was read, with its version or day"
    )
    remark = models.CharField(max_length=300, blank=True)
    checked_on = models.DateField()
    person = models.CharField(max_length=200)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(checked_against=""),
                name="pfas_date_check_names_its_text",
                violation_error_message="Name the text that you read, with its version or day.",
            ),
            models.CheckConstraint(
                condition=~Q(found="otherwise") | ~Q(remark=""),
                name="pfas_date_check_says_how",
                violation_error_message="Say in the remark how it holds here.",
            ),
        ]
        indexes = [models.Index(fields=["site", "code"], name="pfas_date_check_of_row")]

    def __str__(self) -> str:
        return f"{self.get_found_display()}, by {self.checked_against}"
