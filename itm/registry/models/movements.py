"""What went into a tank and out of it. A wrong movement is withdrawn, never edited away."""

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked
from itm.core.withdrawing import Withdrawable, withdrawn_whole
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import guards
from itm.registry.models.concentrate import ConcentrateLot, Tank
from itm.registry.models.guards import SLACK


class MovementQuerySet(ScopedQuerySet):
    def in_force(self) -> "MovementQuerySet":
        """Not withdrawn, in the order of the tank's own book."""
        rows = self.filter(withdrawn_at=None)
        return rows.order_by("tank_id", "moved_on", "position", "pk")


class TankMovement(Tracked, Scoped, Withdrawable):
    """A volume of concentrate in or out on a day. What a tank holds follows from these rows alone.

    A fill goes into an empty tank, a top-up onto what stands there; a draw-off takes of every lot
    in proportion; a drain empties, whatever was measured of it.

    `held` and `left` are what the book says before and after it. They are worked out with every
    write of the book and kept, because only in a column can the database refuse what is wrong over
    the whole of it. Those withdrawn have none.
    """

    class Kind(models.TextChoices):
        FILL = "fill", "Fill"
        TOP_UP = "top_up", "Top-up"
        DRAW_OFF = "draw_off", "Draw-off"
        DRAIN = "drain", "Drain"

    IN = (Kind.FILL, Kind.TOP_UP)
    OUT = (Kind.DRAW_OFF, Kind.DRAIN)

    derived = frozenset({"held", "left", "excess"})
    site_path = "tank__site"
    guard_rules = guards.MOVEMENT
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    lot = models.ForeignKey(
        ConcentrateLot, models.PROTECT, null=True, blank=True, related_name="movements"
    )
    moved_on = models.DateField()
    # Order within the day: a tank may be drained and filled on one.
    position = models.IntegerField(default=0)
    volume = models.FloatField(null=True, blank=True, help_text="m³; of a drain, if measured")
    volume_typed = models.CharField(max_length=40, blank=True)
    held = models.FloatField(null=True, editable=False, help_text="m³ in the tank before it")
    left = models.FloatField(null=True, editable=False, help_text="m³ in the tank after it")
    # Empty unless older papers had the tank overfull, short, or filled onto a fill: by how much.
    excess = models.FloatField(null=True, editable=False, help_text="m³; 0 for a fill onto a fill")
    reason = models.CharField(max_length=200, blank=True)
    # Of a drain: how the tank was cleaned after it, and what of PFAS an analysis then found.
    cleaned = models.CharField(max_length=200, blank=True)
    rinses = models.PositiveSmallIntegerField(null=True, blank=True)
    rinse_volume = models.FloatField(null=True, blank=True, help_text="m³ of all rinses together")
    rinse_volume_typed = models.CharField(max_length=40, blank=True)
    residue_mg_l = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)
    # Who answers for putting together what is refused without a name, and why.
    allowed_by = models.CharField(max_length=120, blank=True)
    allowed_because = models.CharField(max_length=300, blank=True)
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    objects = MovementQuerySet.as_manager()

    class Meta:
        ordering = ["tank_id", "moved_on", "position", "pk"]
        indexes = [
            models.Index(fields=["tank", "moved_on", "position"], name="movements_of_tank"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["fill", "top_up"], lot__isnull=False)
                | Q(kind__in=["draw_off", "drain"], lot__isnull=True),
                name="movement_names_its_lot",
                violation_error_message=(
                    "A fill or top-up names the lot that went in; a draw-off or drain takes of "
                    "what is there and names none."
                ),
            ),
            models.CheckConstraint(
                # Without the first half a volume that is missing would pass: NULL refuses nothing.
                condition=Q(volume__isnull=False, volume__gt=0) | Q(kind="drain", volume=None),
                name="movement_volume_positive",
                violation_error_message=(
                    "The volume is above 0; only that of a drain may stay empty."
                ),
            ),
            models.CheckConstraint(
                condition=Q(held=None, left=None, excess=None)
                | Q(held__isnull=False, left__isnull=False, withdrawn_at=None),
                name="movement_book_is_whole",
                violation_error_message="What a withdrawn movement left in the tank is nothing.",
            ),
            models.CheckConstraint(
                condition=Q(held=None)
                | Q(kind="drain", left=0)
                | Q(kind="draw_off", left=0, excess__isnull=False)
                | Q(
                    kind="draw_off",
                    left__gte=F("held") - F("volume") - SLACK,
                    left__lte=F("held") - F("volume") + SLACK,
                )
                | Q(
                    kind__in=["fill", "top_up"],
                    left__gte=F("held") + F("volume") - SLACK,
                    left__lte=F("held") + F("volume") + SLACK,
                ),
                name="movement_left_follows",
                violation_error_message=(
                    "More cannot have come out of a tank than stood in it by its book."
                ),
            ),
            models.CheckConstraint(
                condition=Q(held=None) | Q(held__gte=0, left__gte=0),
                name="movement_never_below_zero",
                violation_error_message="A tank never holds less than nothing.",
            ),
            models.CheckConstraint(
                condition=~Q(kind="fill") | Q(held=None) | Q(held=0) | Q(excess__isnull=False),
                name="movement_fill_into_empty",
                violation_error_message=(
                    "A fill goes into an empty tank: note it as a top-up, or the drain before it."
                ),
            ),
            models.CheckConstraint(
                condition=Q(excess=None) | Q(excess__gte=0),
                name="movement_excess_not_negative",
                violation_error_message="What older papers had too much is 0 m³ or more.",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["fill", "top_up"]) | ~Q(reason=""),
                name="movement_out_has_reason",
                violation_error_message="Say why it was taken out: a test, a leak, a change.",
            ),
            models.CheckConstraint(
                condition=Q(kind="drain")
                | Q(cleaned="", residue_mg_l=None, rinses=None, rinse_volume=None),
                name="movement_cleaned_is_drain",
                violation_error_message="Only a drained tank is cleaned: leave that empty.",
            ),
            models.CheckConstraint(
                condition=(Q(rinses=None) | Q(rinses__gt=0))
                & (Q(rinse_volume=None) | Q(rinse_volume__gt=0)),
                name="movement_rinses_positive",
                violation_error_message="Rinses and their water are above 0, or stay empty.",
            ),
            models.CheckConstraint(
                condition=Q(rinses=None, rinse_volume=None) | ~Q(cleaned=""),
                name="movement_rinsed_is_cleaned",
                violation_error_message="Say with what it was rinsed, as how it was cleaned.",
            ),
            models.CheckConstraint(
                condition=Q(residue_mg_l=None) | Q(residue_mg_l__gte=0),
                name="movement_residue_not_negative",
                violation_error_message="The PFAS left by analysis is 0 mg/L or more.",
            ),
            models.CheckConstraint(
                condition=Q(allowed_by="", allowed_because="")
                | (Q(kind__in=["fill", "top_up"]) & ~Q(allowed_by="") & ~Q(allowed_because="")),
                name="movement_leave_is_whole",
                violation_error_message=(
                    "Leave to mix names both who answers for it and why, and belongs to a top-up."
                ),
            ),
            withdrawn_whole("movement_withdrawn_is_whole"),
        ]

    def __str__(self) -> str:
        what = f"{self.get_kind_display()} of {self.volume_typed}".removesuffix(" of ")
        return f"{what}, {self.lot}" if self.lot else what

    @property
    def goes_in(self) -> bool:
        return self.kind in self.IN
