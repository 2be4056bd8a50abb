"""How long records are kept: rules as data, what holds at a site, and what a person decided.

The record itself is never let go: its sealed bytes, its digest and its rows stay, or the chain
could not be verified. What can go are stored files, and of each its line stays.
"""

from typing import Any

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked, TrackedQuerySet
from itm.core.triggers import Rule
from itm.records.models import LaboratoryReport
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Attachment, Site
from itm.schedule.models.programmes import LOOKED_UP


class Kind(models.TextChoices):
    """Of records, and of the files that belong to none."""

    ACCEPTANCE = "acceptance", "acceptance tests"
    TEST = "test", "tests"
    CHECK = "check", "concentrate checks"
    INSPECTION = "inspection", "inspections"
    FINDING = "finding", "deficiencies and impairments"
    PHOTO = "photo", "other photos"
    PLAN = "plan", "PFAS management plans"
    WASTE = "waste", "waste papers"
    MAKERS = "makers", "drawings, calculations, makers’ data"
    PAPER = "paper", "other papers"


# What a person says that a file is; nothing in its bytes says it. A paper may be a photo of one.
PAPERS = (Kind.PLAN, Kind.WASTE, Kind.MAKERS, Kind.PAPER, Kind.PHOTO)


class CountsFrom(models.TextChoices):
    DONE = "done", "after it was done"
    NEXT = "next", "after the next of its kind"
    LIFE = "life", "after what it belongs to was taken down"


class KeepingRule(models.Model):
    """How long the law or a standard wants records of some kinds to be kept at least."""

    code = models.SlugField(max_length=60, unique=True)
    position = models.PositiveSmallIntegerField(default=0)
    kinds = models.JSONField(help_text="Kinds of records that it is about")
    years = models.PositiveSmallIntegerField()
    counts_from = models.CharField(max_length=8, choices=CountsFrom.choices)
    words = models.CharField(max_length=300)
    source = models.CharField(max_length=300)
    edition = models.CharField(max_length=80, blank=True)
    confidence = models.CharField(max_length=60)

    class Meta:
        ordering = ["position", "code"]

    def __str__(self) -> str:
        return f"{self.source}: {self.how_long}"

    @property
    def how_long(self) -> str:
        return lasting(self.years, self.counts_from)

    @property
    def about(self) -> str:
        return ", ".join(str(Kind(one).label) for one in self.kinds)

    @property
    def needs_confirmation(self) -> bool:
        return self.confidence not in LOOKED_UP


def lasting(years: int, counts_from: str) -> str:
    if counts_from == CountsFrom.LIFE and not years:
        return "as long as what it belongs to stands"
    if counts_from == CountsFrom.NEXT and not years:
        return "until the next of its kind"
    return f"{years} year{'' if years == 1 else 's'} {CountsFrom(counts_from).label}"


class OwnersOnly(Scoped):
    """The owner's to decide and to see; what became of a file is told wherever the file stood."""

    class Meta:
        abstract = True

    @staticmethod
    def open_to(kind: str) -> Q:
        return Q() if kind == "owner" else Q(pk__in=[])


class KeepingPeriod(Tracked, OwnersOnly):
    """At this site a rule holds, or a period of the owner's own. Each counts until it is ended."""

    site_path = "site"
    guard = "kept"
    guard_column = "ended_on"
    site = models.ForeignKey(Site, models.PROTECT, related_name="keeping_periods")
    rule = models.ForeignKey(
        KeepingRule, models.PROTECT, null=True, blank=True, related_name="periods"
    )
    kind = models.CharField(max_length=10, choices=Kind.choices, blank=True)
    years = models.PositiveSmallIntegerField(null=True, blank=True)
    why = models.CharField(max_length=300, blank=True)
    checked_against = models.CharField(
        max_length=200, blank=True, help_text="Edition or paper that the rule was compared with"
    )
    set_by = models.CharField(max_length=200)
    starts_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    ended_by = models.CharField(max_length=200, blank=True)
    ended_why = models.CharField(max_length=300, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["rule__position", "kind", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(rule__isnull=False, kind="", years=None)
                | Q(rule=None, years__gte=1, years__lte=100) & ~Q(kind="") & ~Q(why=""),
                name="keeping_period_by_rule_or_own",
                violation_error_message="A period of one's own has 1 to 100 years and says why.",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None, ended_by="", ended_why="")
                | Q(ended_on__gte=F("starts_on")) & ~Q(ended_by="") & ~Q(ended_why=""),
                name="keeping_period_ended_with_a_reason",
                violation_error_message="Say why it no longer holds.",
            ),
            models.UniqueConstraint(
                fields=["site", "rule"], condition=Q(ended_on=None), name="keeping_rule_once",
                violation_error_message="This rule holds at this site already.",
            ),
            models.UniqueConstraint(
                fields=["site", "kind"], condition=Q(ended_on=None, rule=None),
                name="own_keeping_period_once",
                violation_error_message="This site has a period of its own for these already.",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        if self.rule is not None:
            return str(self.rule)
        return f"the owner’s own period: {self.how_long}"

    @property
    def how_long(self) -> str:
        if self.rule is not None:
            return self.rule.how_long
        return lasting(self.years or 0, CountsFrom.DONE)


class PaperKind(Tracked, Scoped):
    """Somebody said what a paper is; the latest line counts."""

    site_path = "attachment__site"
    guard = "append_only"
    attachment = models.ForeignKey(Attachment, models.PROTECT, related_name="said_to_be")
    kind = models.CharField(max_length=10, choices=[(k.value, k.label) for k in PAPERS])
    said_by = models.CharField(max_length=200)
    said_at = models.DateTimeField()
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.attachment}: {self.get_kind_display()}"

    @staticmethod
    def open_to(kind: str) -> Q:
        return Q() if kind == "owner" else Q(pk__in=[])


_SAID = " OR ".join(
    f"OLD.{name} <> NEW.{name}"
    for name in ("site_id", "kind", "verb", "reason", "under", "decided_by", "decided_at")
)
_DAYS = (
    "(OLD.until IS NULL) <> (NEW.until IS NULL) OR OLD.until <> NEW.until OR "
    "(OLD.goes_at IS NULL) <> (NEW.goes_at IS NULL) OR OLD.goes_at <> NEW.goes_at"
)


class Decision(Tracked, OwnersOnly):
    """What a person decided about files past their period, with name, reason and rule by value."""

    class Verb(models.TextChoices):
        KEEP = "keep", "kept on"
        LET_GO = "let_go", "let go"

    site_path = "site"
    guard = "kept"
    guard_column = "done_at"
    guard_rules = {
        "once": Rule(
            "UPDATE", f"OLD.taken_back_at IS NOT NULL OR {_SAID} OR {_DAYS}",
            "what was decided is never changed, and taken back once",
        )
    }  # fmt: skip
    site = models.ForeignKey(Site, models.PROTECT, related_name="keeping_decisions")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    verb = models.CharField(max_length=8, choices=Verb.choices)
    reason = models.CharField(max_length=300)
    under = models.CharField(max_length=600, help_text="Rule and source, by value")
    until = models.DateField(null=True, blank=True, help_text="Kept on to this day")
    goes_at = models.DateTimeField(null=True, blank=True, help_text="Until then it can be undone")
    decided_by = models.CharField(max_length=200)
    decided_at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.CharField(max_length=200, blank=True)
    done_at = models.DateTimeField(null=True, blank=True, help_text="When the clock carried it out")
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-decided_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(verb="keep", until__isnull=False, goes_at=None, done_at=None)
                | Q(verb="let_go", until=None, goes_at__gt=F("decided_at")),
                name="keeping_decision_has_its_day",
            ),
            models.CheckConstraint(
                condition=~Q(reason="") & ~Q(decided_by="") & ~Q(under=""),
                name="keeping_decision_says_why",
                violation_error_message="Say why.",
            ),
            models.CheckConstraint(
                condition=Q(taken_back_at=None, taken_back_by="")
                | Q(taken_back_at__isnull=False, done_at=None) & ~Q(taken_back_by=""),
                name="keeping_decision_taken_back_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(done_at=None) | Q(done_at__gte=F("goes_at")),
                name="keeping_decision_waits",
            ),
        ]
        indexes = [
            models.Index(
                fields=["goes_at"],
                condition=Q(verb="let_go", taken_back_at=None, done_at=None),
                name="letting_go_waits",
            )
        ]

    def __str__(self) -> str:
        return f"files of {self.get_kind_display()}, {self.site}: {self.get_verb_display()}"

    @property
    def waits(self) -> bool:
        return self.verb == self.Verb.LET_GO and self.done_at is None and not self.taken_back_at


class DecidedFile(Tracked):
    """One file of a decision: what it was, so that its line is whole when the bytes are gone."""

    part_of = "decision"
    guard = "kept"
    guard_column = "gone_at"
    guard_rules = {
        "decided": Rule(
            "UPDATE",
            "OLD.decision_id <> NEW.decision_id OR OLD.sha256 <> NEW.sha256 OR OLD.size <> NEW.size"
            " OR OLD.name <> NEW.name OR NEW.gone_at IS NOT NULL AND NOT EXISTS (SELECT 1 FROM "
            "retention_decision AS d WHERE d.id = NEW.decision_id AND d.verb = 'let_go' "
            "AND d.taken_back_at IS NULL AND d.goes_at <= NEW.gone_at)",
            "a file goes by a decision that has waited, and by nothing else",
        )
    }
    decision = models.ForeignKey(Decision, models.PROTECT, related_name="files")
    attachment = models.ForeignKey(
        Attachment, models.PROTECT, null=True, blank=True, related_name="decided"
    )
    laboratory_report = models.ForeignKey(
        LaboratoryReport, models.PROTECT, null=True, blank=True, related_name="decided"
    )
    name = models.CharField(max_length=120)
    of = models.CharField(max_length=300, help_text="What it belongs to")
    size = models.PositiveIntegerField(help_text="bytes")
    sha256 = models.CharField(max_length=64)
    free_from = models.DateField(help_text="First day on which it may go")
    gone_at = models.DateTimeField(null=True, blank=True)
    stayed_why = models.CharField(max_length=300, blank=True, help_text="Why the clock left it")
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(attachment__isnull=False, laboratory_report=None)
                | Q(attachment=None, laboratory_report__isnull=False),
                name="decided_file_is_one_file",
            ),
            models.CheckConstraint(
                condition=Q(gone_at=None) | Q(stayed_why=""), name="decided_file_went_or_stayed"
            ),
            models.UniqueConstraint(
                fields=["attachment"], condition=Q(gone_at__isnull=False),
                name="attachment_goes_once",
            ),
            models.UniqueConstraint(
                fields=["laboratory_report"], condition=Q(gone_at__isnull=False),
                name="laboratory_report_goes_once",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.name

    @property
    def row(self) -> Any:
        return self.attachment or self.laboratory_report
