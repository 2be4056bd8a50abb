"""What is inspected beside proportioners and tanks: valves, strainers, pumps and the rest."""

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models.concentrate import Tank
from itm.registry.models.sites import Site
from itm.registry.models.systems import FoamSystem

# Rows of programmes name a thing as kind:variety, so these words are a contract with them. A kind
# that is missing here has no varieties.
VARIETIES: dict[str, dict[str, str]] = {
    "valve": {
        "sealed": "sealed",
        "locked": "locked",
        "supervised": "supervised electrically",
        "unsupervised": "neither sealed, locked nor supervised",
    },
    "strainer": {"concentrate": "in the concentrate", "water": "in the water"},
    "piping": {"above_ground": "above ground", "buried": "buried"},
    "discharge": {
        "spray_nozzle": "spray nozzle",
        "sprinkler": "sprinkler",
        "high_expansion": "high-expansion generator",
        "foam_chamber": "foam chamber",
        "monitor": "monitor",
        "other": "of another type",
    },
    "actuation": {"manual": "by hand", "detection": "by detection"},
}


def variety_fits_kind() -> Q:
    fits = Q(variety="") & ~Q(kind__in=list(VARIETIES))
    for kind, varieties in VARIETIES.items():
        fits |= Q(kind=kind, variety__in=list(varieties))
    return fits


class Equipment(Tracked, Scoped):
    """One thing, or a group of like things, that is inspected. Retired, never deleted.

    It stands at a system, at a tank (whose outlet valve matters to every system that the tank
    feeds), or at the site alone, as drainage and water supply do.
    """

    class Kind(models.TextChoices):
        VALVE = "valve", "Valve"
        STRAINER = "strainer", "Strainer"
        CONCENTRATE_PUMP = "concentrate_pump", "Concentrate pump"
        VENT = "vent", "Vent"
        PIPING = "piping", "Piping"
        DISCHARGE = "discharge", "Discharge device"
        ACTUATION = "actuation", "Actuation"
        EXPELLANT_GAS = "expellant_gas", "Expellant gas"
        DRAINAGE = "drainage", "Drainage and containment"
        SUPPLY = "supply", "Water supply"
        OTHER = "other", "Other"

    class Position(models.TextChoices):
        OPEN = "open", "open"
        CLOSED = "closed", "closed"
        REGULATING = "regulating", "regulating"
        AS_NOTED = "as_noted", "as noted"

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="equipment")
    system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="equipment"
    )
    tank = models.ForeignKey(Tank, models.PROTECT, null=True, blank=True, related_name="equipment")
    tag = models.CharField(max_length=40)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    variety = models.CharField(max_length=20, blank=True)
    name = models.CharField(max_length=80, blank=True, help_text="What it does or is, in words")
    place = models.CharField(max_length=120, blank=True, help_text="Where one finds it")
    pieces = models.PositiveIntegerField(
        default=1, help_text="How many like pieces this row stands for, as with nozzles of a zone"
    )
    normal_position = models.CharField(max_length=12, choices=Position.choices, blank=True)
    position_note = models.CharField(max_length=120, blank=True)
    # The order of the walk back after a test; valves without one follow by tag.
    walk_order = models.PositiveSmallIntegerField(null=True, blank=True)
    size = models.CharField(max_length=60, blank=True, help_text="Size or rating, as on the plate")
    maker = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    serial_number = models.CharField(max_length=60, blank=True)
    installed_on = models.DateField(null=True, blank=True)
    notes = models.TextField(max_length=1000, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    # It left because its place did, and comes back with it.
    retired_with_place = models.BooleanField(default=False)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["site_id", "tag", "pk"]
        verbose_name_plural = "equipment"
        constraints = [
            models.UniqueConstraint(
                Lower("tag"),
                "site",
                condition=Q(retired_on=None),
                name="equipment_tag_once",
                violation_error_message="This site already has equipment with that tag.",
            ),
            models.CheckConstraint(
                condition=Q(system=None) | Q(tank=None),
                name="equipment_stands_at_one_place",
                violation_error_message=(
                    "Equipment stands at a system, at a tank or at the site alone: choose one."
                ),
            ),
            models.CheckConstraint(
                condition=variety_fits_kind(),
                name="equipment_variety_fits_kind",
                violation_error_message="This variety does not belong to that kind of equipment.",
            ),
            models.CheckConstraint(
                condition=(
                    Q(kind="valve", normal_position__in=["open", "closed", "regulating"])
                    | (Q(kind="valve", normal_position="as_noted") & ~Q(position_note=""))
                    | (~Q(kind="valve") & Q(normal_position="", position_note=""))
                ),
                name="equipment_position_of_valves",
                violation_error_message=(
                    "A valve has a normal position, in words where it is neither open, closed nor "
                    "regulating; other equipment has none."
                ),
            ),
            models.CheckConstraint(
                condition=Q(pieces__gte=1),
                name="equipment_pieces_counted",
                violation_error_message="One row stands for at least one piece.",
            ),
            models.CheckConstraint(
                condition=Q(installed_on=None)
                | Q(retired_on=None)
                | Q(retired_on__gte=F("installed_on")),
                name="equipment_days_in_order",
                violation_error_message="It cannot leave before the day on which it was installed.",
            ),
            models.CheckConstraint(
                condition=Q(retired_with_place=False) | Q(retired_on__isnull=False),
                name="equipment_left_with_its_place",
                violation_error_message="What left with its place is out of use.",
            ),
        ]

    def __str__(self) -> str:
        return self.tag

    @property
    def what(self) -> str:
        """Kind and variety in words, for example “Valve, locked”."""
        variety = VARIETIES.get(self.kind, {}).get(self.variety, "")
        return ", ".join(filter(None, (self.get_kind_display(), variety)))

    @property
    def position(self) -> str:
        """How a valve normally stands, in its own words where it has some."""
        return self.position_note or self.get_normal_position_display()

    @property
    def stands_at(self) -> "FoamSystem | Tank | Site":
        return self.system or self.tank or self.site
