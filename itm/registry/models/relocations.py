"""Where things stood before: a proportioner or a piece of equipment that came to another place."""

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models.concentrate import Tank
from itm.registry.models.equipment import Equipment
from itm.registry.models.sites import Site
from itm.registry.models.systems import FoamSystem, Proportioner


def differs(one: str, other: str) -> Q:
    """Two columns that may be empty hold different things."""
    return (
        Q(**{f"{one}__isnull": True, f"{other}__isnull": False})
        | Q(**{f"{one}__isnull": False, f"{other}__isnull": True})
        | (Q(**{f"{one}__isnull": False, f"{other}__isnull": False}) & ~Q(**{one: F(other)}))
    )


class Relocation(Tracked, Scoped):
    """A thing came from one system or tank of its site to another on a day.

    For a proportioner the tank is the one it draws from, so that a tank which comes to feed another
    system is kept here too. A move taken back stays a row and says so.
    """

    site_path = "site"
    site = models.ForeignKey(Site, models.PROTECT, related_name="relocations")
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, null=True, blank=True, related_name="relocations"
    )
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="relocations"
    )
    from_system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="moved_away"
    )
    to_system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="moved_here"
    )
    from_tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="moved_away"
    )
    to_tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="moved_here"
    )
    moved_on = models.DateField()
    reason = models.CharField(max_length=200, blank=True)
    noted_by = models.CharField(max_length=120)
    taken_back_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-moved_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=(
                    Q(proportioner__isnull=True, equipment__isnull=False)
                    | Q(
                        proportioner__isnull=False, equipment__isnull=True,
                        from_system__isnull=False, to_system__isnull=False,
                        from_tank__isnull=False, to_tank__isnull=False,
                    )
                ),
                name="relocation_of_one_thing",
                violation_error_message=(
                    "A move names one thing; a proportioner has a system and a tank before and "
                    "after it."
                ),
            ),
            models.CheckConstraint(
                condition=Q(proportioner__isnull=False)
                | (
                    (Q(from_system__isnull=True) | Q(from_tank__isnull=True))
                    & (Q(to_system__isnull=True) | Q(to_tank__isnull=True))
                ),
                name="relocation_from_and_to_one_place",
                violation_error_message=(
                    "Equipment stands at a system, at a tank or at the site alone: choose one."
                ),
            ),
            models.CheckConstraint(
                condition=differs("from_system", "to_system") | differs("from_tank", "to_tank"),
                name="relocation_goes_somewhere",
                violation_error_message="It stands there already.",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.thing} from {self.start} to {self.end}"

    @property
    def thing(self) -> Proportioner | Equipment:
        out = self.proportioner or self.equipment
        if out is None:
            raise LookupError("The constraint says that one of them moved.")
        return out

    @property
    def start(self) -> str:
        return self._place(self.from_system, self.from_tank)

    @property
    def end(self) -> str:
        return self._place(self.to_system, self.to_tank)

    def _place(self, system: FoamSystem | None, tank: Tank | None) -> str:
        if self.proportioner_id is not None:
            return f"{system}, tank {tank}"
        return str(system) if system else f"tank {tank}" if tank else "the site alone"
