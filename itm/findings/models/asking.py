"""What an authority asks about a record, and what it orders with a date."""

from datetime import date
from typing import Any

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import Organisation
from itm.core.history import Tracked, TrackedQuerySet
from itm.core.withdrawing import Withdrawable, withdrawn_whole
from itm.findings.models.authority_visits import AuthorityVisit
from itm.findings.models.deficiencies import Deficiency
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.records.models.kept import of_one_record
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site


class Question(Tracked, Scoped):
    """Asked on a sealed record, open until whoever asked closes it."""

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="questions")
    test = models.ForeignKey(
        ProportioningTest, models.PROTECT, null=True, blank=True, related_name="questions"
    )
    concentrate_check = models.ForeignKey(
        ConcentrateCheck, models.PROTECT, null=True, blank=True, related_name="questions"
    )
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="questions_asked")
    words = models.TextField(max_length=1000)
    asked_at = models.DateTimeField()
    asked_by = models.CharField(max_length=200)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.CharField(max_length=200, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            of_one_record("question_of_one_record"),
            models.CheckConstraint(
                condition=~Q(words=""),
                name="question_asks",
                violation_error_message="Write the question.",
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None, closed_by="")
                | (Q(closed_at__isnull=False) & ~Q(closed_by="")),
                name="question_closed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.words

    @staticmethod
    def open_to(kind: str) -> Q:
        """A contractor sees those on its own records, which `made_by` brings."""
        return Q(pk__in=[]) if kind == "contractor" else Q()

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return (
            Q(organisation=organisation_id)
            | Q(test__visit__contractor=organisation_id)
            | Q(concentrate_check__organisation=organisation_id)
        )

    @property
    def record(self) -> Any:
        return self.test or self.concentrate_check


class Answer(Tracked):
    """What anybody who sees the question says to it. Append-only."""

    part_of = "question"
    guard = "append_only"
    question = models.ForeignKey(Question, models.PROTECT, related_name="answers")
    words = models.TextField(max_length=2000)
    at = models.DateTimeField()
    person = models.CharField(max_length=200)
    organisation = models.CharField(max_length=200)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(words=""),
                name="answer_says_something",
                violation_error_message="Write the answer.",
            )
        ]

    def __str__(self) -> str:
        return self.words


class Order(Tracked, Scoped, Withdrawable):
    """An authority asks for something by a day. Open until it says that it is met, or that it was
    made by mistake, with the reason."""

    OPEN = Q(met_at=None, withdrawn_at=None)
    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="orders")
    deficiency = models.ForeignKey(
        Deficiency, models.PROTECT, null=True, blank=True, related_name="orders"
    )
    authority_visit = models.ForeignKey(
        AuthorityVisit, models.PROTECT, null=True, blank=True, related_name="orders",
        help_text="On which visit it was seen",
    )  # fmt: skip
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="orders_made")
    words = models.TextField(max_length=1000)
    due_on = models.DateField()
    made_at = models.DateTimeField()
    made_by_name = models.CharField(max_length=200)
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.CharField(max_length=200, blank=True)
    met_at = models.DateTimeField(null=True, blank=True)
    met_by = models.CharField(max_length=200, blank=True)
    met_words = models.CharField(max_length=400, blank=True, help_text="What it was seen by")
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(words=""),
                name="order_says_what",
                violation_error_message="Say what has to be done.",
            ),
            models.CheckConstraint(
                condition=Q(seen_at=None, seen_by="")
                | (Q(seen_at__gte=F("made_at")) & ~Q(seen_by="")),
                name="order_seen_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(met_at=None, met_by="", met_words="")
                | (Q(met_at__gte=F("made_at")) & ~Q(met_by="") & ~Q(met_words="")),
                name="order_met_says_by_what",
                violation_error_message="Say what shows that it is met.",
            ),
            withdrawn_whole("order_withdrawn_is_whole"),
            models.CheckConstraint(
                condition=Q(met_at=None) | Q(withdrawn_at=None), name="order_met_or_withdrawn"
            ),
        ]

    def __str__(self) -> str:
        return self.words

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(organisation=organisation_id)

    @property
    def is_open(self) -> bool:
        return self.met_at is None and self.withdrawn_at is None

    def stands(self, today: date) -> str:
        """In words; `today` on the clock of the site."""
        if self.withdrawn_at is not None:
            return "withdrawn"
        if self.met_at is not None:
            return "met"
        return "open, late" if self.due_on < today else "open"
