"""The life of a finding, line by line: who did what about it, when, and why."""

from typing import Any

from django.db import models
from django.db.models import Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.findings.models.clocks import NoticeClock
from itm.findings.models.deficiencies import ORIGINS, Deficiency, any_one, only
from itm.findings.models.impairments import Impairment
from itm.records.models import ConcentrateCheck, InspectionLine, ProportioningTest, RestorationLine
from itm.registry.models import Attachment
from itm.schedule.models import Duty


class Step(Tracked):
    """One line, append-only. A slip is answered by another line."""

    class Verb(models.TextChoices):
        OPENED = "opened", "opened"
        FOUND_AGAIN = "found_again", "found again"
        TOLD = "told", "told"
        CLASSED = "classed", "class changed"
        ASSIGNED = "assigned", "seen to"
        PICTURED = "pictured", "photo added"
        REPAIRED = "repaired", "repaired"
        PROPOSED = "proposed", "a later record proposes to close it"
        UNSETTLED = "unsettled", "what it rests on has changed"
        NOTED = "noted", "note"
        CLOSED = "closed", "closed"
        # Of impairments alone.
        ROUND = "round", "round of the fire watch"
        CHANGED = "changed", "changed"
        ARRANGED = "arranged", "arranged"
        ALARM = "alarm", "a clock has run out"

    part_of = "finding"
    guard = "append_only"
    deficiency = models.ForeignKey(
        Deficiency, models.PROTECT, null=True, blank=True, related_name="steps"
    )
    impairment = models.ForeignKey(
        Impairment, models.PROTECT, null=True, blank=True, related_name="steps"
    )
    verb = models.CharField(max_length=12, choices=Verb.choices)
    at = models.DateTimeField(help_text="When it was entered")
    person = models.CharField(max_length=200)
    organisation = models.CharField(max_length=200, blank=True)
    words = models.CharField(max_length=500, blank=True)
    who = models.CharField(max_length=120, blank=True, help_text="Who was told, or who repaired")
    happened_at = models.DateTimeField(null=True, blank=True)
    how = models.CharField(max_length=60, blank=True)
    reference = models.CharField(max_length=60, blank=True, help_text="Number of the call")
    test = models.ForeignKey(
        ProportioningTest, models.PROTECT, null=True, blank=True, related_name="finding_steps"
    )
    concentrate_check = models.ForeignKey(
        ConcentrateCheck, models.PROTECT, null=True, blank=True, related_name="finding_steps"
    )
    inspection_line = models.ForeignKey(
        InspectionLine, models.PROTECT, null=True, blank=True, related_name="finding_steps"
    )
    restoration_line = models.ForeignKey(
        RestorationLine, models.PROTECT, null=True, blank=True, related_name="finding_steps"
    )
    duty = models.ForeignKey(
        Duty, models.PROTECT, null=True, blank=True, related_name="finding_steps"
    )
    since_on = models.DateField(null=True, blank=True, help_text="First day on which it is overdue")
    photo = models.ForeignKey(
        Attachment, models.PROTECT, null=True, blank=True, related_name="finding_steps"
    )
    clock = models.ForeignKey(
        NoticeClock, models.PROTECT, null=True, blank=True, related_name="steps",
        help_text="Which clock this answers, or which ran out",
    )  # fmt: skip
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(deficiency__isnull=False, impairment=None, clock=None)
                | Q(deficiency=None, impairment__isnull=False),
                name="finding_step_of_one_finding",
            ),
            models.CheckConstraint(
                condition=~Q(verb="alarm") | Q(clock__isnull=False), name="alarm_names_its_clock"
            ),
            models.CheckConstraint(
                condition=~Q(verb="round") | ~Q(who="") & Q(happened_at__isnull=False),
                name="round_names_who_and_when",
                violation_error_message="A round names who walked it, and when.",
            ),
            models.CheckConstraint(
                condition=~Q(verb="arranged")
                | ~Q(how="") & ~Q(who="") & Q(happened_at__isnull=False),
                name="arranged_names_what_who_and_when",
                violation_error_message="Say what is arranged, who sees to it, and from when on.",
            ),
            models.UniqueConstraint(
                fields=["impairment", "clock"],
                condition=Q(verb="alarm"),
                name="clock_alarms_once",
            ),
            models.CheckConstraint(
                condition=only(ORIGINS, "") | any_one(ORIGINS), name="finding_step_of_one_record"
            ),
            models.CheckConstraint(
                condition=~Q(verb="told") | ~Q(who="") & Q(happened_at__isnull=False),
                name="told_names_who_and_when",
                violation_error_message="Say who was told, and when.",
            ),
            models.CheckConstraint(
                condition=~Q(verb="repaired")
                | ~Q(who="") & ~Q(words="") & Q(happened_at__isnull=False),
                name="repair_names_part_who_and_when",
                violation_error_message="A repair names the part, who did it, and when.",
            ),
            models.CheckConstraint(
                condition=~Q(verb__in=["classed", "unsettled", "noted", "changed"]) | ~Q(words=""),
                name="finding_step_says_why",
                violation_error_message="Say why.",
            ),
            models.CheckConstraint(
                condition=~Q(verb__in=["proposed", "found_again"]) | any_one(ORIGINS),
                name="finding_step_names_its_record",
            ),
            models.CheckConstraint(
                condition=Q(duty=None, since_on=None)
                | Q(duty__isnull=False, since_on__isnull=False),
                name="finding_step_says_since_when",
            ),
            models.UniqueConstraint(
                fields=["deficiency", "duty", "since_on"],
                condition=Q(verb__in=["opened", "found_again"], duty__isnull=False),
                name="overdue_duty_named_once",
            ),
            models.CheckConstraint(
                condition=~Q(verb="pictured") | Q(photo__isnull=False),
                name="finding_step_has_its_photo",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_verb_display()}: {self.words}" if self.words else self.get_verb_display()

    @property
    def record(self) -> Any:
        return next((found for name in ORIGINS if (found := getattr(self, name))), None)
