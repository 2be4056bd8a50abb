"""Sites, the authorities that oversee them and the contractors engaged there."""

from datetime import UTC, date, timedelta
from typing import Any, Self

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.history import Tracked, TrackedQuerySet
from itm.core.local_dates import LocalDate
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import guards
from itm.registry.models.guards import known_zones


def validate_zone(name: str) -> None:
    if name not in known_zones():
        raise ValidationError(
            f"“{name}” is no time zone of the IANA list; write one like Europe/Lisbon."
        )


class Site(Tracked, Scoped):
    """A place with foam systems. Its clock decides its dates. Retired, never deleted."""

    site_path = ""
    open_by_link = True
    guard_rules = guards.SITE
    owner = models.ForeignKey(Organisation, models.PROTECT, related_name="sites")
    name = models.CharField(max_length=80)
    address = models.TextField(max_length=400, blank=True)
    country = models.CharField(max_length=60, blank=True)
    time_zone = models.CharField(max_length=40, default="UTC", validators=[validate_zone])
    # The owner's own rule. Without it a test read with such an instrument goes in with a warning.
    certificate_needed = models.BooleanField(
        default=False,
        help_text="A test is handed in only when its instrument had a certificate in force on the "
        "days of its readings",
    )
    # Codes of fixtures/pfas/dates.json: only so that the right dates are shown.
    pfas_places = models.JSONField(default=list, blank=True)
    authorities = models.ManyToManyField(
        Organisation, through="SiteAuthority", related_name="overseen_sites"
    )
    retired_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["owner", "name"],
                condition=Q(retired_on=None),
                name="site_name_once",
                violation_error_message="You already have a site with that name.",
            )
        ]

    def __str__(self) -> str:
        return self.name


def _today(actor: Actor, first: str | None, last: str) -> Q:
    """Both ends included. A day lasts on earth from one before to one after that of UTC, so only
    what begins or ends thereabouts asks the clock of its site."""

    def covers(begins: Any, ends: Any) -> Q:
        begun = Q(**{f"{first}__lte": begins}) if first else Q()
        return begun & (Q(**{last: None}) | Q(**{f"{last}__gte": ends}))

    if actor.at is None:
        return covers(actor.today, actor.today)
    day, one = actor.at.astimezone(UTC).date(), timedelta(days=1)
    there = LocalDate(actor.at, "site__time_zone")
    return covers(day - one, day + one) | covers(day + one, day - one) & covers(there, there)


class SiteAuthorityQuerySet(ScopedQuerySet):
    def covering(self, day: date) -> Self:
        """In force on that day, the last one included."""
        return self.filter(Q(ended_on=None) | Q(ended_on__gte=day), taken_back_on=None)

    def today(self, actor: Actor) -> Self:
        """In force on the day that the clock of each site shows."""
        return self.filter(_today(actor, None, "ended_on"), taken_back_on=None)


class SiteAuthority(Tracked, Scoped):
    """An authority having jurisdiction over a site, with what it looks after there.

    It ends when the authority itself lets go: an owner who could end it would choose who looks. A
    naming that was a slip is taken back on the day it was made.
    """

    class Scope(models.TextChoices):
        FIRE = "fire", "Fire protection"
        ENVIRONMENT = "environment", "Environment"
        FLAG = "flag", "Flag or class"

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="site_authorities")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="oversight")
    scope = models.CharField(max_length=12, choices=Scope.choices, default=Scope.FIRE)
    named_on = models.DateField(null=True, blank=True)  # rows older than this column have none
    ended_on = models.DateField(null=True, blank=True)
    taken_back_on = models.DateField(null=True, blank=True)
    objects = SiteAuthorityQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "organisation", "scope"],
                condition=Q(ended_on=None, taken_back_on=None),
                name="site_authority_once",
                violation_error_message="This authority already looks after that here.",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None) | Q(named_on=None) | Q(ended_on__gte=F("named_on")),
                name="site_authority_in_order",
                violation_error_message="The last day is before the day it was named.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.organisation} over {self.site}"

    def covers(self, day: date) -> bool:
        """As `covering` asks the database."""
        return self.taken_back_on is None and (self.ended_on is None or self.ended_on >= day)


class GrantQuerySet(TrackedQuerySet):
    def visible_to(self, actor: Actor) -> Self:
        """Both sides of the engagement: the owner of the site and the contractor."""
        if actor.organisation_id is None:
            return self.none()
        org = actor.organisation_id
        return self.filter(Q(site__owner=org) | Q(organisation=org))

    def covering(self, day: date, last: date | None = None) -> Self:
        """That day, or some day from it to the last one."""
        return self.filter(Q(ends_on=None) | Q(ends_on__gte=day), starts_on__lte=last or day)

    def today(self, actor: Actor) -> Self:
        """Those that cover the day that the clock of each site shows."""
        return self.filter(_today(actor, "starts_on", "ends_on"))


class Grant(Tracked):
    """An owner engages a contractor at a site for a period."""

    owner_path = "site__owner"
    site = models.ForeignKey(Site, models.PROTECT, related_name="grants")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="grants")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    objects = GrantQuerySet.as_manager()

    class Meta:
        ordering = ["starts_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                name="grant_in_order",
                violation_error_message="The last day is before the first day.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.organisation} at {self.site}"
