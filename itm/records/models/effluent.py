"""What a discharge left behind: how much came out, was caught, got away and was hauled off."""

from typing import Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation
from itm.core.history import Tracked
from itm.core.withdrawing import Withdrawable, unchanged, withdrawn_whole
from itm.records.models.visits import Visit
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import ConcentrateLot, Site

# A line is written once; all that may follow is its withdrawal.
_STAYS = (
    "site_id", "organisation_id", "kind", "happened_on", "volume", "volume_typed", "pfas", "place",
    "hauler", "paper", "note",
)  # fmt: skip
UNCHANGED = unchanged(
    "line", _STAYS, "what was noted of effluent is withdrawn and never changed",
    may_lack=("percent", "visit_id"),
)  # fmt: skip


class EffluentLineQuerySet(ScopedQuerySet):
    def in_force(self) -> Self:
        return self.filter(withdrawn_at=None)


class EffluentLine(Tracked, Scoped, Withdrawable):
    """One amount of solution, foam or flush water. Never changed: a wrong one is withdrawn, and a
    right one may stand in its place. Waste papers come weeks after the seal, so it hangs beside the
    record and not in it."""

    class Kind(models.TextChoices):
        DISCHARGED = "discharged", "Discharged"
        COLLECTED = "collected", "Collected"
        RELEASED = "released", "Not collected"
        HAULED = "hauled", "Hauled away"

    site_path = "site"
    guard = "kept"
    guard_column = "withdrawn_at"
    guard_rules = UNCHANGED
    site = models.ForeignKey(Site, models.PROTECT, related_name="effluent")
    visit = models.ForeignKey(
        Visit, models.PROTECT, null=True, blank=True, related_name="effluent",
        help_text="None: no test day, for example a discharge by itself",
    )  # fmt: skip
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="effluent")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    happened_on = models.DateField()
    volume = models.FloatField(help_text="m³ of liquid, not of foam")
    volume_typed = models.CharField(max_length=40)
    percent = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
        help_text="% by volume of concentrate in it",
    )  # fmt: skip
    pfas = models.CharField(
        max_length=10, choices=ConcentrateLot.Pfas.choices, default=ConcentrateLot.Pfas.UNKNOWN
    )
    place = models.CharField(max_length=200, blank=True)
    hauler = models.CharField(max_length=120, blank=True)
    paper = models.CharField(max_length=80, blank=True)
    note = models.CharField(max_length=300, blank=True)
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    objects = EffluentLineQuerySet.as_manager()

    class Meta:
        ordering = ["-happened_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["discharged", "collected", "released", "hauled"]),
                name="effluent_kind",
                violation_error_message="Effluent is discharged, collected, not collected or "
                "hauled away.",
            ),
            models.CheckConstraint(
                condition=Q(volume__gt=0),
                name="effluent_volume_positive",
                violation_error_message="The volume is above 0.",
            ),
            models.CheckConstraint(
                condition=Q(percent=None) | Q(percent__gte=0, percent__lte=100),
                name="effluent_percent_in_range",
                violation_error_message="A percent lies between 0 and 100.",
            ),
            models.CheckConstraint(
                condition=Q(kind="discharged") | ~Q(place=""),
                name="effluent_says_where",
                violation_error_message="Say where it stands or where it went.",
            ),
            models.CheckConstraint(
                condition=~Q(kind="hauled") | (~Q(hauler="") & ~Q(paper="")),
                name="effluent_hauled_on_paper",
                violation_error_message="Say who took it away and give the number of the paper.",
            ),
            withdrawn_whole("effluent_withdrawn_is_whole"),
        ]
        indexes = [models.Index(fields=["site", "-happened_on"], name="effluent_of_site")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.volume_typed}"

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(organisation=organisation_id)
