"""Concentrate that stands at a site and in no tank: new drums, reserve supply, drained waste."""

from django.db import models
from django.db.models import Q

from itm.core.history import Tracked
from itm.core.withdrawing import Withdrawable, withdrawn_whole
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models.concentrate import ConcentrateLot
from itm.registry.models.movements import TankMovement
from itm.registry.models.sites import Site


class Store(Tracked, Scoped):
    """One lot outside of any tank at a site, either to be used or to be taken away. How much there
    is follows from its movements."""

    class Standing(models.TextChoices):
        SUPPLY = "supply", "Supply, to be used"
        WASTE = "waste", "Waste, to be taken away"

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="stores")
    lot = models.ForeignKey(ConcentrateLot, models.PROTECT, related_name="stores")
    standing = models.CharField(max_length=8, choices=Standing.choices)
    place = models.CharField(max_length=120, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["site_id", "standing", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "lot", "standing"],
                name="store_once",
                violation_error_message="This lot already stands here so: note what comes to it.",
            ),
            models.CheckConstraint(
                condition=Q(standing__in=["supply", "waste"]),
                name="store_is_supply_or_waste",
                violation_error_message="Concentrate in store is supply or waste.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot}, {'waste' if self.standing == self.Standing.WASTE else 'in store'}"


class StoreMovementQuerySet(ScopedQuerySet):
    def in_force(self) -> "StoreMovementQuerySet":
        """Not withdrawn, in the order of the store's own book."""
        rows = self.filter(withdrawn_at=None)
        return rows.order_by("store_id", "moved_on", "position", "pk")


class StoreMovement(Tracked, Scoped, Withdrawable):
    """A volume that came into a store or went out of it on a day. A wrong one is withdrawn.

    `left` is what the book says after it. It is worked out with every write of the store and kept,
    because what is below zero over the whole book is a thing that the database can refuse only in
    a column.
    """

    class Kind(models.TextChoices):
        RECEIPT = "receipt", "Came in"
        USE = "use", "Used"
        DISPOSAL = "disposal", "Taken away as waste"

    derived = frozenset({"left"})
    site_path = "store__site"
    store = models.ForeignKey(Store, models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    moved_on = models.DateField()
    position = models.IntegerField(default=0)  # order within the day
    volume = models.FloatField(help_text="m³")
    volume_typed = models.CharField(max_length=40)
    left = models.FloatField(help_text="m³ in the store after it, by the book")
    containers = models.CharField(max_length=80, blank=True, help_text="4 drums of 200 L")
    reason = models.CharField(max_length=200, blank=True)
    paper = models.CharField(max_length=80, blank=True)
    # The fill that it went into, or the drain that it came from.
    tank_movement = models.ForeignKey(
        TankMovement, models.PROTECT, null=True, blank=True, related_name="in_store"
    )
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    objects = StoreMovementQuerySet.as_manager()

    class Meta:
        ordering = ["store_id", "moved_on", "position", "pk"]
        indexes = [
            models.Index(fields=["store", "moved_on", "position"], name="movements_of_store"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["receipt", "use", "disposal"]),
                name="store_movement_kind",
                violation_error_message="Concentrate comes in, is used or is taken away.",
            ),
            models.CheckConstraint(
                condition=Q(volume__gt=0),
                name="store_movement_volume_positive",
                violation_error_message="The volume is above 0.",
            ),
            models.CheckConstraint(
                condition=Q(left__gte=0),
                name="store_never_below_zero",
                violation_error_message="More cannot have gone out of a store than was in it.",
            ),
            models.CheckConstraint(
                condition=~Q(kind="disposal") | ~Q(paper=""),
                name="store_disposal_has_its_paper",
                violation_error_message="Give the number of the paper under which it was taken "
                "away.",
            ),
            models.CheckConstraint(
                condition=~Q(kind="use") | ~Q(reason="") | Q(tank_movement__isnull=False),
                name="store_use_has_reason",
                violation_error_message="Say what it was used for.",
            ),
            withdrawn_whole("store_movement_withdrawn_is_whole"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.volume_typed} of {self.store.lot}"

    @property
    def goes_in(self) -> bool:
        return self.kind == self.Kind.RECEIPT
