"""The day on which a system went over to a fluorine-free concentrate."""

from django.db import models
from django.db.models import F, Q

from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models.concentrate import ConcentrateLot, Tank
from itm.registry.models.movements import TankMovement
from itm.registry.models.systems import FoamSystem


class ChangeOver(Tracked, Scoped):
    """A tank was drained and filled anew; one row for each system that it fed on that day.

    What was measured with the old concentrate is no baseline for the new one, so baselines start
    anew here. One that was entered by mistake is withdrawn with its two movements.
    """

    site_path = "tank__site"
    tank = models.ForeignKey(Tank, models.PROTECT, related_name="changeovers")
    system = models.ForeignKey(FoamSystem, models.PROTECT, related_name="changeovers")
    drain = models.ForeignKey(TankMovement, models.PROTECT, related_name="changeovers_out")
    fill = models.ForeignKey(TankMovement, models.PROTECT, related_name="changeovers_in")
    changed_on = models.DateField()
    from_lot = models.ForeignKey(
        ConcentrateLot, models.PROTECT, related_name="changeovers_from",
        help_text="Of several, the one that most of the tank was",
    )  # fmt: skip
    to_lot = models.ForeignKey(ConcentrateLot, models.PROTECT, related_name="changeovers_to")
    papers = models.CharField(
        max_length=300, help_text="Waste papers, who cleaned, certificate, consent: by number"
    )
    noted_by = models.CharField(max_length=200)
    withdrawn_because = models.CharField(max_length=200, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-changed_on", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["system", "fill"],
                name="changeover_once",
                violation_error_message="This changeover of the system is noted already.",
            ),
            models.CheckConstraint(
                condition=~Q(from_lot=F("to_lot")),
                name="changeover_changes_lot",
                violation_error_message="A changeover puts another lot into the tank.",
            ),
            models.CheckConstraint(
                condition=~Q(papers=""),
                name="changeover_has_papers",
                violation_error_message="Name the papers of the changeover.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.system} from {self.from_lot} to {self.to_lot}"
