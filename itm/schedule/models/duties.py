"""What is due: one row a cycle."""

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Proportioner, Site, Tank
from itm.schedule.models.programmes import Requirement

# Where an open cycle stands; the names are those of `due.standing`.
ASKED = ("ahead", "open", "due", "overdue")
TO_COME = ASKED[:-1]  # these change when a day passes


class Duty(Tracked, Scoped):
    """One cycle of one requirement on one piece of equipment.

    The open cycle is the row without `done_on`. A cycle done after its latest day stays a row that
    says so: a duty missed stays visible after the next one is done.
    """

    class Cause(models.TextChoices):
        PERIODIC = "periodic", "periodic"
        RETEST = "retest", "retest"

    class Stands(models.TextChoices):
        AHEAD = "ahead", "ahead"
        OPEN = "open", "open"
        DUE = "due", "due"
        OVERDUE = "overdue", "overdue"
        AT_REST = "at_rest", "at rest"  # done, withdrawn, or on what is retired

    derived = frozenset({"stands", "stands_changes_on"})
    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="duties")
    requirement = models.ForeignKey(Requirement, models.PROTECT, related_name="duties")
    cause = models.CharField(max_length=10, choices=Cause.choices, default=Cause.PERIODIC)
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, null=True, blank=True, related_name="duties"
    )
    tank = models.ForeignKey(Tank, models.PROTECT, null=True, blank=True, related_name="duties")
    counts_from = models.DateField(help_text="Day of the last completion, or commissioning")
    window_opens_on = models.DateField()
    due_on = models.DateField()
    latest_on = models.DateField()
    done_on = models.DateField(null=True, blank=True)
    # Key of the record that completed the cycle: by value, since records stand above this app.
    done_by_record = models.UUIDField(null=True, blank=True)
    # An amendment can take back the verdict that opened a retest: the row stays, out of every list.
    withdrawn_on = models.DateField(null=True, blank=True)
    # Where the cycle stands on its site's date, and the first day on which that is no longer so.
    # `standing.stand` sets both with every write, `sweep` moves them when a day passes. No default:
    # a writer who forgets them is refused by the database.
    stands = models.CharField(max_length=8, choices=Stands.choices)
    stands_changes_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "latest_on", "pk"]
        verbose_name_plural = "duties"
        constraints = [
            models.CheckConstraint(
                condition=Q(proportioner=None, tank__isnull=False)
                | Q(proportioner__isnull=False, tank=None),
                name="duty_hangs_on_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(window_opens_on__lte=F("due_on"), due_on__lte=F("latest_on")),
                name="duty_window_in_order",
            ),
            models.CheckConstraint(
                condition=Q(stands="at_rest", stands_changes_on=None)
                | Q(done_on=None, withdrawn_on=None)
                & (
                    Q(stands="overdue", stands_changes_on=None)
                    # Said aloud: a comparison with nothing would let a check pass.
                    | Q(stands_changes_on__isnull=False)
                    & (
                        Q(stands="ahead", stands_changes_on=F("window_opens_on"))
                        | Q(stands="open", stands_changes_on=F("due_on"))
                        | Q(stands="due", stands_changes_on__gt=F("latest_on"))
                    )
                ),
                name="duty_stands_by_its_dates",
            ),
            models.UniqueConstraint(
                fields=["requirement", "cause", "proportioner"],
                condition=Q(done_on=None, withdrawn_on=None, tank=None),
                name="one_open_duty_a_proportioner",
            ),
            models.UniqueConstraint(
                fields=["requirement", "cause", "tank"],
                condition=Q(done_on=None, withdrawn_on=None, proportioner=None),
                name="one_open_duty_a_tank",
            ),
        ]
        indexes = [
            models.Index(
                fields=["due_on"],
                condition=Q(done_on=None, withdrawn_on=None),
                name="duty_open_by_due",
            ),
            models.Index(fields=["site", "due_on"], name="duty_of_site"),
            # Worst first without sorting, and the rows that a day changes without a look at others.
            models.Index(
                fields=["stands", "stands_changes_on"],
                condition=Q(stands__in=TO_COME),
                name="duty_by_next_change",
            ),
            models.Index(
                fields=["latest_on"], condition=Q(stands="overdue"), name="duty_longest_overdue"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.requirement} of {self.proportioner or self.tank}, due {self.due_on}"
