"""Inspections of past years as lists and papers report them. Nobody entered them on the day."""

from typing import Any

from django.db import models
from django.db.models import Q

from itm.core.figures import day
from itm.core.history import Tracked
from itm.records.models.inspections import InspectionLine
from itm.records.models.past import PastBundle, PastQuerySet
from itm.registry.access import Scoped
from itm.registry.models import Equipment, FoamSystem, Proportioner, Site, Tank
from itm.schedule.models import Requirement
from itm.schedule.models.duties import LINKS, hangs_on_one_thing


class PastInspection(Tracked, Scoped):
    """One task done on one thing, as a list that was brought in has it: who brought it and when
    stands with its bundle. Never changed: a wrong one is withdrawn.

    It is no inspection of ours: it has no answers, no photos, and its outcome opens no deficiency,
    since what was wrong years ago was seen to or is found again.
    """

    site_path = "site"
    guard = "append_only"
    bundle = models.ForeignKey(
        PastBundle, models.PROTECT, related_name="inspections", db_index=False
    )  # a bundle is read as a whole, and an index would be the dearest part of a large import
    site = models.ForeignKey(
        Site, models.PROTECT, related_name="past_inspections", db_index=False
    )  # the index below begins with it
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, null=True, blank=True, db_index=False,
        related_name="past_inspections",
    )  # fmt: skip
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="past_inspections",
        db_index=False,
    )  # fmt: skip
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="past_inspections",
        db_index=False,
    )  # fmt: skip
    system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="past_inspections",
        db_index=False,
    )  # fmt: skip
    requirement = models.ForeignKey(
        Requirement, models.PROTECT, null=True, blank=True, related_name="past_inspections",
        db_index=False, help_text="The row that asks for this task here, where one was named",
    )  # fmt: skip
    task = models.CharField(max_length=400, help_text="In the words of the list")
    done_on = models.DateField()
    outcome = models.CharField(
        max_length=12, choices=InspectionLine.Outcome.choices, blank=True,
        help_text="Empty where the list says none",
    )  # fmt: skip
    outcome_typed = models.CharField(max_length=60, blank=True)
    words = models.CharField(max_length=500, blank=True, help_text="What the list says was found")
    done_by = models.CharField(max_length=120, blank=True)
    paper = models.CharField(max_length=120, blank=True, help_text="Number or place of the paper")
    row = models.PositiveIntegerField(default=0, help_text="Of the file that it came from")
    objects = PastQuerySet.as_manager()

    class Meta:
        ordering = ["site_id", "done_on", "pk"]
        indexes = [models.Index(fields=["site", "done_on"], name="past_inspection_of_site")]
        constraints = [
            models.CheckConstraint(
                condition=hangs_on_one_thing(), name="past_inspection_is_of_one_thing"
            ),
            models.CheckConstraint(condition=~Q(task=""), name="past_inspection_names_its_task"),
        ]

    def __str__(self) -> str:
        return f"{self.task}, {self.place} on {day(self.done_on)}, as reported"

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(bundle__organisation=organisation_id)

    @property
    def thing(self) -> Any:
        """What it was done on; the site where it names nothing else."""
        return next((one for name in LINKS if (one := getattr(self, name))), self.site)

    @property
    def place(self) -> str:
        return "the whole site" if self.thing == self.site else str(self.thing)
