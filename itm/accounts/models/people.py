"""People and the organisations they act for."""

from typing import Any

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from itm.core.history import Author, Tracked, TrackedQuerySet
from itm.core.measures import Measures


class Organisation(Tracked):
    """An owner, a contractor or an authority having jurisdiction."""

    class Kind(models.TextChoices):
        OWNER = "owner", "Facility owner"
        CONTRACTOR = "contractor", "Contractor"
        AUTHORITY = "authority", "Authority having jurisdiction"

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    # Authority only: how sure a statement must be to count as settled; frozen into each test at
    # Prepare. Null is simple acceptance: never undecided. 0.75 is our own choice, no source.
    verdict_probability = models.FloatField(null=True, blank=True, default=0.75)
    # How sure it must be, besides, that an answer other than lean is not lean; null asks no more.
    lean_probability = models.FloatField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "name"],
                name="organisation_name_once",
                violation_error_message="An organisation of this kind already has that name.",
            ),
            models.CheckConstraint(
                condition=Q(verdict_probability=None)
                | Q(verdict_probability__gte=0.5, verdict_probability__lt=1),
                name="verdict_probability_in_range",
                violation_error_message=(
                    "The probability for a settled verdict is at least 0.5 and below 1, or empty."
                ),
            ),
            models.CheckConstraint(
                condition=Q(lean_probability=None)
                | Q(lean_probability__gte=F("verdict_probability"), lean_probability__lt=1),
                name="lean_probability_is_stricter",
                violation_error_message=(
                    "The probability of not being lean is at least that of a settled verdict and "
                    "below 1, or empty."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class People(BaseUserManager["User"]):
    def get_by_natural_key(self, email: str | None) -> "User":
        """Addresses are compared without regard to capitals, as the constraint on them does."""
        return self.get(email__iexact=email)


class User(AbstractBaseUser, Tracked):
    """A person. Signs in by e-mail; the qualification is what a signature shows."""

    derived = frozenset({"password", "last_login"})  # a secret, and no business fact
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    qualification = models.CharField(max_length=120, blank=True)
    licence_number = models.CharField(max_length=60, blank=True)
    licence_expires_on = models.DateField(null=True, blank=True)
    # In which units the person reads; what is stored and what was typed do not follow it.
    measures = models.CharField(max_length=2, choices=Measures.choices, default=Measures.SI)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]
    objects = People.from_queryset(TrackedQuerySet)()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(Lower("email"), name="email_once"),
            models.CheckConstraint(
                condition=Q(measures__in=["si", "us"]),
                name="measures_are_known",
                violation_error_message="Choose SI or US customary units.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, by: Author | None = None, **kwargs: Any) -> None:
        """Django itself saves a person's last sign-in and a re-hashed password, without an author.

        Those two are no business facts; every other change names who made it.
        """
        own = {"last_login", "password"}
        if by is None and set(kwargs.get("update_fields") or ()) <= own:
            if not kwargs.get("update_fields"):
                raise TypeError("save(by=...): who changes this person?")
            models.Model.save(self, *args, **kwargs)
            return
        if by is None:
            raise TypeError("save(by=...): who changes this person?")
        super().save(*args, by=by, **kwargs)


class Membership(Tracked):
    """A person acts for an organisation in a role, until the day it ends."""

    class Role(models.TextChoices):
        MEMBER = "member", "Member"
        SUPERVISOR = "supervisor", "Supervisor"
        MANAGER = "manager", "Manager"

    user = models.ForeignKey(User, models.PROTECT, related_name="memberships")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role.choices, default=Role.MEMBER)
    ended_on = models.DateField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["organisation__name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["user", "organisation"],
                condition=Q(ended_on=None),
                name="membership_once",
                violation_error_message="This person already belongs to this organisation.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.user} for {self.organisation}"
