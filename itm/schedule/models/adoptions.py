"""Who adopted which edition, who confirmed its rows, and on what terms each row holds."""

from typing import Self

from django.db import models
from django.db.models import F, Q

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.figures import day
from itm.core.history import Tracked, TrackedQuerySet
from itm.registry.models import Site
from itm.schedule.models.programmes import Programme, Requirement, window_in_order


class AdoptionQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """One's own; those of a site that the actor sees, of its owner and of its authorities."""
        if actor.organisation_id is None:
            return self.none()
        sites = Site.objects.visible_to(actor)
        return self.filter(
            Q(adopter=actor.organisation_id)
            | Q(site__in=sites.values("pk"))
            | Q(site=None, adopter__in=sites.values("owner"))
            | Q(site=None, adopter__oversight__site__in=sites.values("pk"))
        ).distinct()


class Adoption(Tracked):
    """An owner adopts an edition for one site or for all; an authority sets it for all it oversees.

    Never changed but for its last day: a new edition is an adoption of its own.
    """

    owner_path = "adopter"
    programme = models.ForeignKey(Programme, models.PROTECT, related_name="adoptions")
    adopter = models.ForeignKey(Organisation, models.PROTECT, related_name="adoptions")
    site = models.ForeignKey(Site, models.PROTECT, null=True, blank=True, related_name="adoptions")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True, help_text="Last day")
    objects = AdoptionQuerySet.as_manager()

    class Meta:
        ordering = ["programme__name", "-starts_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["programme", "adopter"],
                condition=Q(ends_on=None, site=None),
                name="adoption_open_once",
                violation_error_message="This edition is adopted already.",
            ),
            models.UniqueConstraint(
                fields=["programme", "site"],
                condition=Q(ends_on=None, site__isnull=False),
                name="adoption_open_once_a_site",
                violation_error_message="This edition is adopted for the site already.",
            ),
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                name="adoption_days_in_order",
                violation_error_message="The last day is before the first day.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.programme} by {self.adopter}"


class PartOfAdoption(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        return self.filter(adoption__in=Adoption.objects.visible_to(actor).values("pk"))


class Confirmation(Tracked):
    """Somebody held a row against the edition that governs and answers for it."""

    owner_path = "adoption__adopter"
    adoption = models.ForeignKey(Adoption, models.PROTECT, related_name="confirmations")
    requirement = models.ForeignKey(Requirement, models.PROTECT, related_name="confirmations")
    confirmed_on = models.DateField()
    person = models.CharField(max_length=200)  # by value: it outlives the account
    checked_against = models.CharField(max_length=200)
    taken_back_on = models.DateField(null=True, blank=True)
    objects = PartOfAdoption.as_manager()

    class Meta:
        ordering = ["requirement", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["adoption", "requirement"],
                condition=Q(taken_back_on=None),
                name="confirmation_once",
                violation_error_message="This row is confirmed already.",
            ),
            models.CheckConstraint(
                condition=~Q(checked_against=""),
                name="confirmation_names_what_it_was_held_against",
                violation_error_message="Say which document the row was held against.",
            ),
            models.CheckConstraint(
                condition=Q(taken_back_on=None) | Q(taken_back_on__gte=F("confirmed_on")),
                name="confirmation_days_in_order",
                violation_error_message="It cannot be taken back before it was given.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.requirement}, confirmed by {self.person} on {day(self.confirmed_on)}"


class Consent(Tracked):
    """An authority agreed to less than the row asks: what, by whom, on which day, on what paper."""

    class Answer(models.TextChoices):
        CONFIRMED = "confirmed", "Yes, as it is noted"
        DISPUTED = "disputed", "No, or not so"

    owner_path = "adoption__adopter"
    adoption = models.ForeignKey(Adoption, models.PROTECT, related_name="consents")
    requirement = models.ForeignKey(
        Requirement, models.PROTECT, null=True, blank=True, related_name="consents"
    )
    authority = models.ForeignKey(Organisation, models.PROTECT, related_name="consents")
    what = models.CharField(max_length=300)
    person = models.CharField(max_length=120, help_text="Who agreed for the authority")
    given_on = models.DateField()
    paper = models.CharField(max_length=200, help_text="Letter, permit or file number")
    # The owner notes it, so the authority says whether it gave it. The latest answer stands; the
    # history has those before it. It changes no duty: what is asked meanwhile is for the two.
    answer = models.CharField(max_length=12, choices=Answer.choices, blank=True)
    answered_on = models.DateField(null=True, blank=True)
    answered_by = models.CharField(max_length=200, blank=True)  # by value: it outlives the account
    answer_words = models.CharField(max_length=500, blank=True)
    objects = PartOfAdoption.as_manager()

    class Meta:
        ordering = ["-given_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(answer="", answered_on=None, answered_by="", answer_words="")
                | (~Q(answer="") & Q(answered_on__isnull=False) & ~Q(answered_by="")),
                name="consent_answer_is_whole",
                violation_error_message="An answer says who gave it and on which day.",
            ),
            models.CheckConstraint(
                condition=~Q(answer="disputed") | ~Q(answer_words=""),
                name="consent_dispute_has_its_reason",
                violation_error_message="Say why the consent does not stand.",
            ),
            models.CheckConstraint(
                condition=~Q(what="") & ~Q(person="") & ~Q(paper=""),
                name="consent_says_all",
                violation_error_message="A consent says what, by whom, on which day and on what "
                "paper.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.authority} on {day(self.given_on)}: {self.paper}"

    @property
    def stands(self) -> str:
        """What the authority that is named says of it, in a sentence without its full stop."""
        if self.authority_id == self.adoption.adopter_id:
            return "noted by the authority itself"
        if not self.answer:
            return f"not yet answered by {self.authority.name}"
        said = "confirmed" if self.answer == self.Answer.CONFIRMED else "disputed"
        words = f": {self.answer_words}" if self.answer_words else ""
        return f"{said} by {self.answered_by} on {day(self.answered_on)}{words}"


class Terms(Tracked):
    """From a day on, the row holds with these figures, or not at all; the latest terms hold."""

    owner_path = "adoption__adopter"
    adoption = models.ForeignKey(Adoption, models.PROTECT, related_name="terms")
    requirement = models.ForeignKey(Requirement, models.PROTECT, related_name="terms")
    starts_on = models.DateField()
    unit = models.CharField(max_length=16, choices=Requirement.Unit.choices)
    interval = models.PositiveSmallIntegerField(null=True, blank=True)
    earliest = models.PositiveSmallIntegerField(null=True, blank=True)
    latest = models.PositiveSmallIntegerField(null=True, blank=True)
    left_out = models.BooleanField(default=False)
    consent = models.ForeignKey(
        Consent, models.PROTECT, null=True, blank=True, related_name="terms"
    )
    objects = PartOfAdoption.as_manager()

    class Meta:
        ordering = ["requirement", "starts_on", "pk"]
        verbose_name_plural = "terms"
        constraints = [
            models.UniqueConstraint(
                fields=["adoption", "requirement", "starts_on"],
                name="terms_once_a_day",
                violation_error_message="Other terms begin on that day already.",
            ),
            models.CheckConstraint(
                condition=(Q(left_out=False) & window_in_order())
                | Q(left_out=True, interval=None, earliest=None, latest=None),
                name="terms_window_in_order",
                violation_error_message=(
                    "The interval is above 0; earliest, interval and latest follow in this order, "
                    "and the window is no wider than the interval."
                ),
            ),
            models.CheckConstraint(
                condition=Q(left_out=False) | Q(consent__isnull=False),
                name="terms_without_a_row_need_consent",
                violation_error_message="Leaving a row out needs the authority's consent.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.requirement} from {day(self.starts_on)}"
