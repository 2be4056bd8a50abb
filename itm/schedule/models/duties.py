"""What is due: one row a cycle."""

from django.db import models
from django.db.models import F, Q

from itm.core.figures import day
from itm.core.history import Tracked
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Equipment, FoamSystem, Proportioner, Site, Tank
from itm.schedule.models.programmes import Requirement

# Where an open cycle stands; the names are those of `due.standing`.
ASKED = ("ahead", "open", "due", "overdue")
TO_COME = ASKED[:-1]  # these change when a day passes


# What a duty hangs on; with none of them it hangs on the site itself.
LINKS = ("proportioner", "tank", "equipment", "system")


def hangs_on_one_thing() -> Q:
    """At most one of the links."""
    out = Q(**dict.fromkeys(LINKS))
    for name in LINKS:
        others = {other: None for other in LINKS if other != name}
        out |= Q(**{f"{name}__isnull": False}, **others)
    return out


def one_open(name: str, link: str) -> models.UniqueConstraint:
    """One cycle of a kind is open at a time. Only what hangs on this link stands in the index:
    whatever moves a duty has as many indexes to keep as it stands in."""
    alone = {f"{link}__isnull": False} if link in LINKS else dict.fromkeys(LINKS)
    return models.UniqueConstraint(
        fields=["requirement", "cause", link],
        condition=Q(done_on=None, withdrawn_on=None, **alone),
        name=name,
    )


class Duty(Tracked, Scoped):
    """One cycle of one requirement on one thing.

    The open cycle is the row without `done_on`. A cycle done after its latest day stays a row that
    says so: a duty missed stays visible after the next one is done.
    """

    class Cause(models.TextChoices):
        PERIODIC = "periodic", "periodic"
        RETEST = "retest", "retest"
        EVENT = "event", "event"
        ONCE = "once", "once"

    class Stands(models.TextChoices):
        AHEAD = "ahead", "ahead"
        OPEN = "open", "open"
        DUE = "due", "due"
        OVERDUE = "overdue", "overdue"
        AT_REST = "at_rest", "at rest"  # done, withdrawn, or on what is retired

    derived = frozenset({"stands", "stands_changes_on"})
    site_path = "site"
    open_by_link = True
    # No index of their own: `duty_of_site` begins with the site, and each link has one without the
    # rows that lack it.
    site = models.ForeignKey(Site, models.PROTECT, related_name="duties", db_index=False)
    requirement = models.ForeignKey(Requirement, models.PROTECT, related_name="duties")
    cause = models.CharField(max_length=10, choices=Cause.choices, default=Cause.PERIODIC)
    proportioner = models.ForeignKey(
        Proportioner, models.PROTECT, null=True, blank=True, related_name="duties", db_index=False
    )
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="duties", db_index=False
    )
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="duties", db_index=False
    )
    system = models.ForeignKey(
        FoamSystem, models.PROTECT, null=True, blank=True, related_name="duties", db_index=False
    )
    counts_from = models.DateField(help_text="Day of the last completion, or commissioning")
    window_opens_on = models.DateField()
    due_on = models.DateField()
    latest_on = models.DateField()
    done_on = models.DateField(null=True, blank=True)
    # Key of the record that completed the cycle: by value, since records stand above this app.
    done_by_record = models.UUIDField(null=True, blank=True)
    # An amendment can take back the verdict that opened a retest: the row stays, out of every list.
    withdrawn_on = models.DateField(null=True, blank=True)
    # A due date that people moved inside the window, and why; the window itself stays.
    shifted_to = models.DateField(null=True, blank=True)
    shifted_why = models.CharField(max_length=200, blank=True)
    # Where the cycle stands on its site's date, and the first day on which that is no longer so.
    # `standing.stand` sets both with every write, `sweep` moves them when a day passes. No default:
    # a writer who forgets them is refused by the database.
    stands = models.CharField(max_length=8, choices=Stands.choices)
    stands_changes_on = models.DateField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "latest_on", "pk"]
        verbose_name_plural = "duties"
        constraints = [
            models.CheckConstraint(
                condition=hangs_on_one_thing(),
                name="duty_hangs_on_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(window_opens_on__lte=F("due_on"), due_on__lte=F("latest_on")),
                name="duty_window_in_order",
            ),
            models.CheckConstraint(
                condition=Q(stands="at_rest", stands_changes_on=None)
                | Q(done_on=None, withdrawn_on=None)
                & (
                    Q(stands="overdue", stands_changes_on=None)
                    # Said aloud: a comparison with nothing would let a check pass.
                    | Q(stands_changes_on__isnull=False)
                    & (
                        Q(stands="ahead", stands_changes_on=F("window_opens_on"))
                        | Q(stands="open", stands_changes_on=F("due_on"))
                        | Q(stands="due", stands_changes_on__gt=F("latest_on"))
                    )
                ),
                name="duty_stands_by_its_dates",
            ),
            one_open("one_open_duty_a_proportioner", "proportioner"),
            one_open("one_open_duty_a_tank", "tank"),
            one_open("one_open_duty_a_piece_of_equipment", "equipment"),
            one_open("one_open_duty_a_system", "system"),
            one_open("one_open_duty_a_site", "site"),
            models.CheckConstraint(
                condition=Q(shifted_to=None, shifted_why="")
                | Q(shifted_to__isnull=False) & ~Q(shifted_why=""),
                name="duty_shift_has_its_reason",
                violation_error_message="A due date is moved with a reason.",
            ),
        ]
        indexes = [
            *(
                models.Index(
                    fields=[link], condition=Q(**{f"{link}__isnull": False}), name=f"duty_of_{link}"
                )
                for link in LINKS
            ),
            models.Index(
                fields=["due_on"],
                condition=Q(done_on=None, withdrawn_on=None),
                name="duty_open_by_due",
            ),
            models.Index(fields=["site", "due_on"], name="duty_of_site"),
            # Worst first without sorting, and the rows that a day changes without a look at others.
            # Conditions in words that SQLite finds again in a query: it proves no others.
            models.Index(
                fields=["stands", "stands_changes_on"],
                condition=Q(stands_changes_on__isnull=False),
                name="duty_by_next_change",
            ),
            models.Index(
                fields=["site", "stands"],
                condition=Q(done_on=None, withdrawn_on=None),
                name="duty_asked_at_site",
            ),
            models.Index(
                fields=["latest_on"], condition=Q(stands="overdue"), name="duty_longest_overdue"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.requirement} of {self.thing}, due {day(self.due_on)}"

    @property
    def thing(self) -> Proportioner | Tank | Equipment | FoamSystem | Site:
        return self.proportioner or self.tank or self.equipment or self.system or self.site
