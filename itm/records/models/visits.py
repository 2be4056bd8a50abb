"""The visit: one crew at one site on one day, the people told, and what has to be put back."""

from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation
from itm.core.figures import day
from itm.core.history import Tracked, TrackedQuerySet
from itm.core.triggers import Rule
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Proportioner, Site

# Not of when everything was back, which may come after the seal.
_STAYS = "what a sealed record says of its visit never changes"
_OF_SEALED = (
    "EXISTS (SELECT 1 FROM records_proportioningtest AS t "
    "WHERE t.visit_id = {visit} AND t.sealed_at IS NOT NULL)"
)


def _sealed(visit: str) -> str:
    """SQL: a test of this visit is sealed."""
    return _OF_SEALED.format(visit=visit)


def _changed(columns: tuple[str, ...], may_lack: tuple[str, ...] = ()) -> str:
    """SQL: one of these columns is not as it was; `may_lack` are those that can be empty."""
    ways = [f"NEW.{one} <> OLD.{one}" for one in (*columns, *may_lack)]
    ways += [f"(NEW.{one} IS NULL) <> (OLD.{one} IS NULL)" for one in may_lack]
    return f"({' OR '.join(ways)})"


class Visit(Tracked, Scoped):
    """Holds one or more tests. Starting the test day opens the impairment; restoring ends it."""

    site_path = "site"
    guard_rules = {
        "sealed": Rule(
            "UPDATE",
            _changed(
                ("key", "site_id", "contractor_id", "planned_on", "crew", "effluent_plan",
                 "ambient_c_typed", "weather", "impairment_reason", "coordinator", "started_by"),
                ("ambient_c", "started_at"),
            ) + f" AND {_sealed('OLD.id')}",
            _STAYS,
        ),
        "delete": Rule("DELETE", _sealed("OLD.id"), _STAYS),
    }  # fmt: skip
    site = models.ForeignKey(Site, models.PROTECT, related_name="visits")
    contractor = models.ForeignKey(Organisation, models.PROTECT, related_name="visits")
    planned_on = models.DateField()
    crew = models.CharField(max_length=200, blank=True, help_text="Names of the crew")
    effluent_plan = models.TextField(
        max_length=1000, blank=True,
        help_text="How much at which percent, where it goes, who hauls it, on whose paper",
    )  # fmt: skip
    ambient_c = models.FloatField(null=True, blank=True, help_text="Air temperature, °C")
    ambient_c_typed = models.CharField(max_length=20, blank=True)
    weather = models.CharField(max_length=200, blank=True)
    impairment_reason = models.CharField(max_length=200, blank=True)
    coordinator = models.CharField(max_length=120, blank=True)
    started_at = models.DateTimeField(null=True, blank=True, help_text="The first valve moved")
    started_by = models.CharField(max_length=120, blank=True)
    restored_at = models.DateTimeField(null=True, blank=True, help_text="The impairment ended")
    restored_by = models.CharField(max_length=120, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-planned_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(restored_at=None) | Q(started_at__isnull=False),
                name="visit_started_before_restored",
            )
        ]

    def __str__(self) -> str:
        return f"Visit to {self.site} on {day(self.planned_on)}"

    @staticmethod
    def open_to(kind: str) -> Q:
        """Plans are the contractor's own; from the start of the test day the owner and authority
        see the visit, because the impairment is theirs to know."""
        return Q(pk__in=[]) if kind == "contractor" else Q(started_at__isnull=False)

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(contractor=organisation_id)

    @property
    def impaired(self) -> bool:
        return self.started_at is not None and self.restored_at is None


class Notice(Tracked):
    """Somebody told before, during or after the system was out of service."""

    part_of = "visit"
    guard_rules = {
        "insert": Rule("INSERT", _sealed("NEW.visit_id"), _STAYS),
        "update": Rule("UPDATE", f"{_sealed('OLD.visit_id')} OR {_sealed('NEW.visit_id')}", _STAYS),
        "delete": Rule("DELETE", _sealed("OLD.visit_id"), _STAYS),
    }
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="notices")
    told = models.CharField(max_length=120, help_text="Owner, fire service, monitoring company …")
    told_by = models.CharField(max_length=120)
    how = models.CharField(max_length=60, blank=True)
    reference = models.CharField(max_length=60, blank=True, help_text="Number of the call")
    told_at = models.DateTimeField()
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["told_at", "pk"]

    def __str__(self) -> str:
        return self.told


class DeviceClock(Tracked):
    """Times of this visit were stamped by a device whose clock was off by so much."""

    part_of = "visit"
    guard = "append_only"
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="device_clocks")
    person = models.CharField(max_length=200)
    ahead_s = models.BigIntegerField(help_text="Seconds ahead of the server; negative behind")
    received_at = models.DateTimeField(help_text="By the clock of the server")
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"Clock of {self.person}, {self.ahead_s} s ahead"


class RestorationLine(Tracked):
    """One thing that has to be back in its normal position before the crew leaves."""

    class Outcome(models.TextChoices):
        OPEN = "", "open"
        RESTORED = "restored", "restored"
        NOT_FITTED = "not_fitted", "not fitted"
        LEFT_OUT = "left_out", "left out of service"

    part_of = "visit"
    guard = "sealed"
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="restoration_lines")
    proportioner = models.ForeignKey(Proportioner, models.PROTECT, related_name="restoration_lines")
    position = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=200)
    outcome = models.CharField(max_length=12, choices=Outcome.choices, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.CharField(max_length=120, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    handed_to = models.CharField(max_length=120, blank=True)
    handed_at = models.DateTimeField(null=True, blank=True)
    # A line left out of service is put back later by a line of its own; the old one stays.
    follows = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="followed_by"
    )
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["visit_id", "proportioner_id", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "proportioner", "position"], name="restoration_position_once"
            ),
            models.CheckConstraint(
                condition=Q(outcome="", ended_at=None)
                | Q(outcome__in=["restored", "not_fitted"], ended_at__isnull=False)
                | (
                    Q(outcome="left_out", ended_at__isnull=False, handed_at__isnull=False)
                    & ~Q(reason="")
                    & ~Q(handed_to="")
                ),
                name="restoration_line_tells_the_truth",
                violation_error_message=(
                    "A line left out of service says why, and to whom and when it was handed over "
                    "in writing."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.text
