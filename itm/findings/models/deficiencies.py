"""What is wrong: one row a deficiency, open until a later record shows the fix."""

from typing import Any

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import Organisation
from itm.core.figures import day
from itm.core.history import Tracked
from itm.records.models import ConcentrateCheck, InspectionLine, ProportioningTest, RestorationLine
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Equipment, FoamSystem, Proportioner, Site, Tank
from itm.schedule.models import Duty
from itm.schedule.models.duties import LINKS, hangs_on_one_thing

# What a deficiency may be closed against; and what it came from, which a duty can be as well.
RECORDS = ("test", "concentrate_check", "inspection_line", "restoration_line")
FIXES = tuple(f"fixed_by_{name}" for name in RECORDS)
ORIGINS = (*RECORDS, "duty")


def only(names: tuple[str, ...], given: str) -> Q:
    """Exactly this one of the links is set, or none where no name is given."""
    return Q(**{f"{name}__isnull": name != given for name in names})


def any_one(names: tuple[str, ...]) -> Q:
    out = Q(pk__in=[])
    for name in names:
        out |= only(names, name)
    return out


class Deficiency(Tracked, Scoped):
    """One thing wrong at one place. Never deleted, and never changed once it is closed.

    The classes are those of NFPA 25 since 2011 (the publisher's journal).
    """

    class Severity(models.IntegerChoices):
        """Worst first."""

        IMPAIRMENT = 1, "Impairment"
        CRITICAL = 2, "Critical deficiency"
        NONCRITICAL = 3, "Noncritical deficiency"

    class Cause(models.TextChoices):
        LEAN = "lean", "Lean result"
        RICH = "rich", "Rich result"
        SUPPLY = "supply", "Concentrate lasts too short"
        CHECK = "check", "Concentrate check"
        INSPECTION = "inspection", "Inspection"
        LEFT_OUT = "left_out", "Left out of service"
        OVERDUE = "overdue", "Overdue duty"
        BY_HAND = "by_hand", "Noted by a person"

    class Outcome(models.TextChoices):
        OPEN = "", "open"
        FIXED = "fixed", "closed: a later record shows the fix"
        REPAIRED = "repaired", "closed: repaired"
        ENDED = "ended", "ended with a reason"

    OF_A_TEST = (Cause.LEAN, Cause.RICH, Cause.SUPPLY)
    site_path = "site"
    open_by_link = True
    guard = "kept"
    guard_column = "closed_at"
    site = models.ForeignKey(Site, models.PROTECT, related_name="deficiencies")
    system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    cause = models.CharField(max_length=12, choices=Cause.choices)
    # The flow point, property or task in which it shows: with cause and thing it is one deficiency
    # as long as it is open, however often it is found.
    spot = models.CharField(max_length=200, blank=True)
    source = models.CharField(max_length=300, editable=False)
    words = models.CharField(max_length=400, help_text="What is wrong")
    ground = models.CharField(max_length=400, blank=True, help_text="Why this class is proposed")
    proposed = models.PositiveSmallIntegerField(choices=Severity.choices)
    severity = models.PositiveSmallIntegerField(choices=Severity.choices)
    severity_reason = models.CharField(max_length=300, blank=True)
    found_on = models.DateField(help_text="Date on the site's own clock")
    # What showed last, where it was found again after that: the list says both.
    again_words = models.CharField(max_length=400, blank=True, help_text="As it was found last")
    again_on = models.DateField(null=True, blank=True)
    class_asked_on = models.DateField(
        null=True, blank=True, help_text="Found again after its class was lowered"
    )
    opened_at = models.DateTimeField()
    opened_by = models.CharField(max_length=200)
    organisation = models.ForeignKey(
        Organisation, models.PROTECT, null=True, blank=True, related_name="deficiencies_found"
    )
    test = models.ForeignKey(
        ProportioningTest, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    concentrate_check = models.ForeignKey(
        ConcentrateCheck, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    inspection_line = models.ForeignKey(
        InspectionLine, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    restoration_line = models.ForeignKey(
        RestorationLine, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    duty = models.ForeignKey(
        Duty, models.PROTECT, null=True, blank=True, related_name="deficiencies"
    )
    responsible = models.CharField(max_length=120, blank=True, help_text="Who sees to it")
    target_on = models.DateField(null=True, blank=True, help_text="To be put right by")
    assigned = models.ForeignKey(
        Organisation, models.PROTECT, null=True, blank=True, related_name="deficiencies_assigned"
    )
    outcome = models.CharField(max_length=10, choices=Outcome.choices, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.CharField(max_length=200, blank=True)
    closed_reason = models.CharField(max_length=400, blank=True)
    fixed_by_test = models.ForeignKey(
        ProportioningTest, models.PROTECT, null=True, blank=True, related_name="deficiencies_fixed"
    )
    fixed_by_concentrate_check = models.ForeignKey(
        ConcentrateCheck, models.PROTECT, null=True, blank=True, related_name="deficiencies_fixed"
    )
    fixed_by_inspection_line = models.ForeignKey(
        InspectionLine, models.PROTECT, null=True, blank=True, related_name="deficiencies_fixed"
    )
    fixed_by_restoration_line = models.ForeignKey(
        RestorationLine, models.PROTECT, null=True, blank=True, related_name="deficiencies_fixed"
    )
    repair = models.OneToOneField(
        "findings.Step", models.PROTECT, null=True, blank=True, related_name="closes"
    )
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["severity", "opened_at", "pk"]
        verbose_name_plural = "deficiencies"
        constraints = [
            models.CheckConstraint(
                condition=hangs_on_one_thing(), name="deficiency_is_of_one_thing"
            ),
            models.CheckConstraint(
                condition=~Q(words=""),
                name="deficiency_says_what",
                violation_error_message="Say what is wrong.",
            ),
            models.CheckConstraint(
                condition=Q(proposed__in=[1, 2, 3], severity__in=[1, 2, 3]),
                name="deficiency_has_a_class",
                violation_error_message="Choose impairment, critical or noncritical.",
            ),
            models.CheckConstraint(
                condition=Q(severity=F("proposed")) | ~Q(severity_reason=""),
                name="deficiency_class_changed_says_why",
                violation_error_message="Another class than the proposed one carries its reason.",
            ),
            models.CheckConstraint(
                condition=Q(again_on=None, again_words="")
                | Q(again_on__gte=F("found_on")) & ~Q(again_words=""),
                name="deficiency_found_again_says_what",
            ),
            models.CheckConstraint(
                condition=Q(class_asked_on=None) | Q(severity__gt=F("proposed")),
                name="deficiency_asks_for_a_lowered_class",
            ),
            models.CheckConstraint(
                condition=Q(cause__in=["lean", "rich", "supply"]) & only(ORIGINS, "test")
                | Q(cause="check") & only(ORIGINS, "concentrate_check")
                | Q(cause="inspection") & only(ORIGINS, "inspection_line")
                | Q(cause="left_out") & only(ORIGINS, "restoration_line")
                | Q(cause="overdue") & only(ORIGINS, "duty")
                | Q(cause="by_hand") & only(ORIGINS, ""),
                name="deficiency_names_what_opened_it",
            ),
            models.CheckConstraint(
                condition=Q(outcome="", closed_at=None, closed_by="", closed_reason="", repair=None)
                & only(FIXES, "")
                | Q(outcome="fixed", closed_at__isnull=False) & ~Q(closed_by="") & any_one(FIXES)
                | Q(outcome="repaired", closed_at__isnull=False, repair__isnull=False)
                & ~Q(closed_by="")
                & Q(cause__in=["inspection", "by_hand"])
                & only(FIXES, "")
                | Q(outcome="ended", closed_at__isnull=False)
                & ~Q(closed_by="")
                & ~Q(closed_reason="")
                & only(FIXES, ""),
                name="deficiency_closes_against_something",
                violation_error_message=(
                    "It closes against a later record, against a noted repair where a person found "
                    "it, or ends with a reason."
                ),
            ),
            models.UniqueConstraint(
                fields=["source"], condition=Q(closed_at=None), name="deficiency_open_once"
            ),
        ]
        indexes = [
            models.Index(
                fields=["site", "severity"], condition=Q(closed_at=None), name="deficiency_open_at"
            ),
            models.Index(
                fields=["severity", "opened_at"],
                condition=Q(closed_at=None),
                name="deficiency_worst_oldest",
            ),
        ]

    @staticmethod
    def open_to(kind: str) -> Q:
        """A link shows what is wrong, not what was."""
        return Q(closed_at=None) if kind == "link" else Q()

    def __str__(self) -> str:
        return self.words

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(organisation=organisation_id)

    @property
    def said(self) -> str:
        """What is wrong, as it was found first and last: for every list."""
        if self.again_on is None:
            return self.words
        same = self.again_words == self.words
        return f"{self.words}; {'again ' if same else ''}on {day(self.again_on)}" + (
            "" if same else f": {self.again_words}"
        )

    @property
    def classed(self) -> str:
        """The class in words, with a mark where a person set it before the newest finding."""
        asked = ", lowered before it was found again" if self.class_asked_on else ""
        return f"{self.get_severity_display()}{asked}"

    @property
    def thing(self) -> Any:
        return next((found for name in LINKS if (found := getattr(self, name))), self.site)

    @property
    def origin(self) -> Any:
        """The row that opened it, or None where a person did."""
        return next((found for name in ORIGINS if (found := getattr(self, name))), None)

    @property
    def fix(self) -> Any:
        return next((found for name in FIXES if (found := getattr(self, name))), None)

    @property
    def is_open(self) -> bool:
        return self.closed_at is None
