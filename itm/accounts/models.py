"""People and the organisations they act for."""

from typing import TYPE_CHECKING, Any, Self

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from itm.core.history import Author, Tracked, TrackedQuerySet
from itm.core.measures import Measures

if TYPE_CHECKING:
    from itm.accounts.actor import Actor


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


class ApiTokenQuerySet(TrackedQuerySet):
    def visible_to(self, actor: "Actor") -> Self:
        """The organisation's own, whoever made them."""
        if actor.organisation_id is None:
            return self.none()
        return self.filter(membership__organisation=actor.organisation_id)


class ApiToken(Tracked):
    """Lets a program act for the person who made it, in one organisation.

    The token itself is shown once and never kept: a prefix finds the row, a digest proves it. It
    hangs on the membership, so that it ends with the person's time in the organisation.
    """

    class Scope(models.TextChoices):
        READ = "read", "Read what you may see"
        HAND_IN = "hand_in", "Hand in test days, inspections and entries of devices"
        REGISTRY = "registry", "Change sites, lots and instruments"
        EVALUATE = "evaluate", "Compute a bench without storing anything"

    # The digest is of a secret; the last use says who looked and not who changed what.
    derived = frozenset({"digest", "last_used_at"})
    owner_path = "membership__organisation"
    membership = models.ForeignKey(Membership, models.PROTECT, related_name="tokens")
    name = models.CharField(max_length=80, help_text="Which program uses it, and where it runs")
    prefix = models.CharField(max_length=12, unique=True)
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the whole token")
    scopes = models.CharField(max_length=60, help_text="Words apart by a space")
    made_at = models.DateTimeField()
    expires_on = models.DateField(help_text="The last day on which it works, in UTC")
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                "membership",
                condition=Q(revoked_at=None),
                name="token_name_once",
                violation_error_message=(
                    "You already have a token of that name: revoke it first, or say in the name "
                    "what sets this one apart."
                ),
            ),
            models.CheckConstraint(
                condition=~Q(scopes=""),
                name="token_may_something",
                violation_error_message="A token that may do nothing is of no use: tick something.",
            ),
            models.CheckConstraint(
                condition=Q(revoked_at=None) | Q(revoked_at__gte=F("made_at")),
                name="token_revoked_after_it_was_made",
                violation_error_message="A token is revoked after it was made.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def allowed(self) -> frozenset[str]:
        return frozenset(self.scopes.split())

    @property
    def allowed_in_words(self) -> list[str]:
        return [str(scope.label) for scope in self.Scope if scope in self.allowed]
