"""Programmes as data: what a standard, a code or a habit of the trade asks to be done, and when."""

from django.db import models
from django.db.models import F, Q

# What the reader may rely on without looking it up again. Any other confidence asks whoever adopts
# the programme to confirm the row against the edition that governs the site.
LOOKED_UP = ("looked up", "looked up, second-hand")


class Programme(models.Model):
    """One edition of one set of rows. A later edition is a programme of its own with the same code,
    so that whoever adopted the earlier one keeps it until another day is set."""

    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    edition = models.CharField(max_length=120)
    note = models.CharField(max_length=300, blank=True, help_text="Where it governs")
    # The yearly test and check that hold wherever nothing else was adopted for them.
    everywhere = models.BooleanField(default=False)

    class Meta:
        ordering = ["-everywhere", "name", "edition", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["code", "edition"], name="programme_edition_once")
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.edition}"


def window_in_order() -> Q:
    """Timed rows have all three figures, in order, and never more room than an interval."""
    given = Q(interval__isnull=False, earliest__isnull=False, latest__isnull=False)
    return given & Q(
        interval__gt=0,
        earliest__lte=F("interval"),
        latest__gte=F("interval"),
        latest__lte=F("interval") + F("earliest"),
    )


class Requirement(models.Model):
    """One row of a programme: a task, what it applies to, and its interval or what brings it on."""

    class Task(models.TextChoices):
        """Which record completes it."""

        PROPORTIONING_TEST = "proportioning_test", "Proportioning test"
        CONCENTRATE_CHECK = "concentrate_check", "Concentrate check"
        INSPECTION = "inspection", "Inspection"

    class Unit(models.TextChoices):
        MONTHS = "months", "months"
        DAYS = "days", "days"
        # Once in every month or week of the calendar, whatever the spacing.
        CALENDAR_MONTHS = "calendar_months", "calendar months"
        CALENDAR_WEEKS = "calendar_weeks", "calendar weeks"

    class Event(models.TextChoices):
        COMMISSIONING = "commissioning", "commissioning"
        DISCHARGE = "discharge", "a discharge of foam"
        FLOW_TEST = "flow_test", "a flow test"
        FILL = "fill", "a fill of the tank"
        LOT_CHANGE = "lot_change", "another lot in the tank"
        REPAIR = "repair", "a repair or a changed part"
        WATER_SUPPLY = "water_supply", "a change of the water supply"
        INOPERABLE = "inoperable", "the system being out of order"
        SURVEY = "survey", "a survey"
        PLANNED_FLOW_TEST = "planned_flow_test", "a planned flow test"
        BENCH_RUN = "bench_run", "a run of the bench"

    class Condition(models.TextChoices):
        CONCENTRATE_OLD = "concentrate_old", "concentrate past its expiry date or ten years old"
        CERTIFICATE = "certificate", "an instrument whose certificate runs out"

    programme = models.ForeignKey(Programme, models.PROTECT, related_name="requirements")
    position = models.PositiveSmallIntegerField(default=0)
    # Stays on this side: pages show source and clause. The same code in two editions is one task.
    code = models.CharField(max_length=40)
    task = models.CharField(max_length=24, choices=Task.choices)
    words = models.CharField(max_length=400, blank=True, help_text="What is to be done")
    # Things as kind:variety, any of which carries a duty of its own; `applies.py` reads them.
    applies_to = models.JSONField(default=list)
    unit = models.CharField(max_length=16, choices=Unit.choices, default=Unit.MONTHS)
    interval = models.PositiveSmallIntegerField(null=True, blank=True)
    earliest = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        help_text="A record earlier than this after the last does not complete the duty",
    )
    latest = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="After this the duty is overdue"
    )
    first_latest = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="The first cycle, where it may be longer than the others"
    )
    events = models.JSONField(default=list, blank=True)
    # Days after the event; below zero, days before it.
    within_days = models.SmallIntegerField(null=True, blank=True)
    by_date = models.DateField(null=True, blank=True, help_text="Once only, by this day")
    condition = models.CharField(max_length=20, choices=Condition.choices, blank=True)
    window_words = models.CharField(max_length=300, blank=True)
    # What a record of it holds: key, label, kind (yes_no, number, text, photo, choice), and unit,
    # lower, upper, choices, optional where they say something.
    evidence = models.JSONField(default=list, blank=True)
    acceptance = models.CharField(max_length=400, blank=True)
    source = models.CharField(max_length=400)
    edition = models.CharField(max_length=60, blank=True)
    confidence = models.CharField(max_length=60)
    # The class of a deficiency that the row makes of an overdue duty, where it says so: its number
    # in `findings.Deficiency.Severity`, which stands above this app. It has a source of its own.
    overdue_class = models.PositiveSmallIntegerField(null=True, blank=True)
    overdue_source = models.CharField(max_length=400, blank=True)
    overdue_confidence = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["programme", "position", "code"]
        constraints = [
            models.UniqueConstraint(fields=["programme", "code"], name="requirement_once"),
            models.CheckConstraint(
                condition=Q(interval=None, earliest=None, latest=None) | window_in_order(),
                name="requirement_window_in_order",
                violation_error_message=(
                    "The interval is above 0; earliest, interval and latest follow in this order, "
                    "and the window is no wider than the interval."
                ),
            ),
            models.CheckConstraint(
                condition=Q(first_latest=None) | Q(first_latest__gte=F("latest")),
                name="requirement_first_is_longer",
                violation_error_message="The first cycle is at least as long as the others.",
            ),
            models.CheckConstraint(
                condition=Q(overdue_class=None, overdue_source="", overdue_confidence="")
                | Q(overdue_class__isnull=False, overdue_class__in=[1, 2, 3])
                & ~Q(overdue_source="")
                & ~Q(overdue_confidence=""),
                name="requirement_overdue_has_its_source",
                violation_error_message=(
                    "What the row says of an overdue duty has its class, source and confidence."
                ),
            ),
        ]

    def __str__(self) -> str:
        """As lists name it: test and check by their trade words, an inspection by what is done."""
        if self.task == self.Task.INSPECTION and self.words:
            return self.words
        return self.get_task_display()

    @property
    def needs_confirmation(self) -> bool:
        return self.confidence not in LOOKED_UP

    @property
    def says_overdue(self) -> bool:
        """Whether the row itself makes a deficiency of an overdue duty. One that nobody looked up
        only proposes a class to whoever adopts it."""
        return self.overdue_class is not None and self.overdue_confidence in LOOKED_UP

    @property
    def is_timed(self) -> bool:
        return self.interval is not None

    @property
    def brings_duties(self) -> bool:
        """A row with neither interval, event nor day is a place held for one."""
        return self.is_timed or bool(self.events) or self.by_date is not None
