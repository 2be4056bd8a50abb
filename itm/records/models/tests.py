"""The proportioning test, one record a test, in the order the crew works."""

from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q

from itm.accounts.models import User
from itm.core.figures import day
from itm.core.history import Tracked, TrackedQuerySet
from itm.records.models.visits import Visit
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import FlowPoint, Proportioner, Site, Tank


class ProportioningTest(Tracked, Scoped):
    """Draft → handed in → sealed. A sealed one is never changed, only amended by a new record."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        HANDED_IN = "handed_in", "handed in"
        SEALED = "sealed", "sealed"
        ABANDONED = "abandoned", "abandoned"

    class Purpose(models.TextChoices):
        ACCEPTANCE = "acceptance", "acceptance"
        PERIODIC = "periodic", "periodic"
        AFTER_CHANGE = "after_change", "after a change"
        RETEST = "retest", "retest"

    class Phase(models.TextChoices):
        AS_FOUND = "as_found", "as found"
        AS_LEFT = "as_left", "as left"

    class Method(models.TextChoices):
        BENCH = "bench", "premix standards and discharge samples on a bench"
        TWO_FLOWS = "two_flows", "flow of concentrate over flow of solution"
        DRAW_DOWN = "draw_down", "tank draw-down over time"
        WEIGHED = "weighed", "tank or drum weighed before and after"
        OTHER_LIQUID = "other_liquid", "another liquid in place of concentrate"

    site_path = "site"
    open_by_link = True
    guard = "sealed"
    # What a record is without what handing it in gave it.
    NOT_HANDED_IN: ClassVar[dict[str, Any]] = {
        "limits": "", "certainty": "", "handed_in_at": None, "handed_in_by": None,
    }  # fmt: skip
    site = models.ForeignKey(Site, models.PROTECT, related_name="tests")
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="tests")
    proportioner = models.ForeignKey(Proportioner, models.PROTECT, related_name="tests")
    # Frozen at Prepare. A bench test has its bench; a direct one names the tank it draws from.
    method = models.CharField(max_length=12, choices=Method.choices, default=Method.BENCH)
    bench = models.ForeignKey(
        "records.Bench", models.PROTECT, null=True, blank=True, related_name="tests"
    )
    tank = models.ForeignKey(
        Tank, models.PROTECT, null=True, blank=True, related_name="direct_tests"
    )
    purpose = models.CharField(max_length=14, choices=Purpose.choices)
    phase = models.CharField(max_length=10, choices=Phase.choices, default=Phase.AS_FOUND)
    adjusted = models.CharField(
        max_length=300, blank=True, help_text="As left: which parts were adjusted or renewed"
    )
    tested_on = models.DateField(help_text="Date on the site's own clock")
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    # Frozen at Prepare, before the first reading: changed defaults never change a verdict.
    nominal_percent = models.DecimalField(max_digits=5, decimal_places=3)
    criterion = models.CharField(max_length=24)
    criterion_title = models.CharField(max_length=120, blank=True)
    band_lower = models.DecimalField(max_digits=7, decimal_places=4)
    band_upper = models.DecimalField(max_digits=7, decimal_places=4)
    criterion_source = models.CharField(max_length=200, blank=True)
    criterion_edition = models.CharField(max_length=80, blank=True)
    criterion_confidence = models.CharField(max_length=40, blank=True)
    verdict_probability = models.FloatField(null=True, blank=True)
    # Of each flow point, as the programmes of the site ask for or as is common practice.
    samples_wanted = models.PositiveSmallIntegerField(default=3)
    lean_probability = models.FloatField(null=True, blank=True)
    include_water = models.BooleanField(default=True)
    correct_temperatures = models.BooleanField(
        default=False, help_text="Evaluate every reading as it would be at one temperature"
    )
    notes = models.TextField(max_length=2000, blank=True)
    # The plain outcome of the evaluation that was handed in, so that lists need not open results.
    limits = models.CharField(max_length=8, blank=True)
    certainty = models.CharField(max_length=10, blank=True)
    handed_in_at = models.DateTimeField(null=True, blank=True)
    handed_in_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="handed_in_tests"
    )
    amends = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="amendments"
    )
    amendment_reason = models.CharField(max_length=500, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-tested_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(band_lower__gte=0, band_lower__lt=F("band_upper")),
                name="test_band_in_order",
            ),
            models.CheckConstraint(
                condition=Q(state="sealed", sealed_at__isnull=False)
                | (~Q(state="sealed") & Q(sealed_at=None)),
                name="sealed_state_has_its_instant",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["handed_in", "sealed"])
                | (Q(handed_in_at__isnull=False) & ~Q(limits="") & ~Q(certainty="")),
                name="handed_in_test_has_its_result",
            ),
            models.CheckConstraint(
                condition=Q(amends=None, amendment_reason="")
                | (Q(amends__isnull=False) & ~Q(amendment_reason="")),
                name="amendment_says_why",
                violation_error_message="An amendment names the record it corrects and says why.",
            ),
            models.UniqueConstraint(
                fields=["amends"],
                condition=~Q(state="abandoned") & Q(amends__isnull=False),
                name="one_amendment_a_record",
                violation_error_message="This record is already corrected by another one.",
            ),
            models.UniqueConstraint(
                fields=["visit", "proportioner", "phase", "method"],
                condition=~Q(state="abandoned") & Q(amends=None),
                name="one_test_a_phase",
                violation_error_message=(
                    "This visit already has such a test by this method: as found and as left are "
                    "one result each."
                ),
            ),
            models.CheckConstraint(
                condition=Q(method="bench", bench__isnull=False, tank=None)
                | (~Q(method="bench") & Q(bench=None, tank__isnull=False)),
                name="test_by_bench_or_from_tank",
            ),
        ]
        indexes = [
            models.Index(fields=["proportioner", "state", "tested_on"], name="test_of_device"),
            models.Index(fields=["site", "state"], name="test_of_site"),
        ]

    def __str__(self) -> str:
        return f"Proportioning test of {self.proportioner} on {day(self.tested_on)}"

    @staticmethod
    def open_to(kind: str) -> Q:
        """Drafts show to their author's organisation alone; the authority sees sealed records."""
        if kind == "owner":
            return Q(state__in=["handed_in", "sealed"])
        return Q(state="sealed")

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return Q(visit__contractor=organisation_id)

    @property
    def maker_id(self) -> int:
        """The organisation whose record it is."""
        return self.visit.contractor_id

    @property
    def is_direct(self) -> bool:
        """Whether its percents come from flows or levels, and from no bench."""
        return self.method != self.Method.BENCH

    @property
    def drawn_from(self) -> Tank:
        """The tank that the proportioner drew from on the day, wherever it stands now."""
        found = self.tank if self.bench is None else self.bench.tank
        if found is None:
            raise LookupError("A test has a bench or a tank.")
        return found


class FlowRun(Tracked):
    """The discharge at one flow point: pressure, flow, foam seen, level before and after."""

    class FlowSource(models.TextChoices):
        METER = "meter", "flow meter"
        PITOT = "pitot", "pitot on a nozzle"
        NAMEPLATE = "nameplate", "taken from the nameplate"

    part_of = "test"
    guard = "sealed"
    guard_parent = "test"
    test = models.ForeignKey(ProportioningTest, models.PROTECT, related_name="runs")
    flow_point = models.ForeignKey(FlowPoint, models.PROTECT, related_name="runs")
    inlet_pressure = models.FloatField(null=True, blank=True, help_text="Pa")
    inlet_pressure_typed = models.CharField(max_length=40, blank=True)
    solution_flow = models.FloatField(null=True, blank=True, help_text="m³/s")
    solution_flow_typed = models.CharField(max_length=40, blank=True)
    flow_source = models.CharField(max_length=10, choices=FlowSource.choices, blank=True)
    # By pitot: each outlet as typed, “38 mm; 0.90; 2.1 bar”; their sum is the flow.
    outlets = models.JSONField(default=list, blank=True)
    foam_seen_at = models.DateTimeField(null=True, blank=True)
    # Where the criterion compares with the acceptance test: what that gave here, by value.
    baseline_percent = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    baseline_source = models.CharField(max_length=120, blank=True)
    band_lower = models.DecimalField(max_digits=7, decimal_places=4, null=True, blank=True)
    band_upper = models.DecimalField(max_digits=7, decimal_places=4, null=True, blank=True)
    level_before = models.FloatField(null=True, blank=True, help_text="m³ in the tank")
    level_before_typed = models.CharField(max_length=40, blank=True)
    level_after = models.FloatField(null=True, blank=True, help_text="m³ in the tank")
    level_after_typed = models.CharField(max_length=40, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["test_id", "flow_point__flow", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["test", "flow_point"], name="one_run_a_flow_point"),
            models.CheckConstraint(
                condition=(Q(solution_flow=None) | Q(solution_flow__gt=0))
                & (Q(inlet_pressure=None) | Q(inlet_pressure__gte=0)),
                name="run_measures_in_range",
                violation_error_message="A flow is above 0 and a pressure is not negative.",
            ),
            models.CheckConstraint(
                condition=Q(baseline_percent=None, band_lower=None, band_upper=None)
                | (
                    Q(baseline_percent__gt=0) & Q(band_lower__gte=0, band_lower__lt=F("band_upper"))
                ),
                name="own_band_has_its_baseline",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.flow_point} of {self.test}"


class FlushStep(Tracked):
    """One step of stopping and flushing, in the order of the maker's manual."""

    part_of = "test"
    guard = "sealed"
    guard_parent = "test"
    test = models.ForeignKey(ProportioningTest, models.PROTECT, related_name="flush_steps")
    position = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=200)
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.CharField(max_length=120, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    objects = TrackedQuerySet.as_manager()

    class Meta:
        ordering = ["test_id", "position"]
        constraints = [
            models.UniqueConstraint(fields=["test", "position"], name="flush_position_once")
        ]

    def __str__(self) -> str:
        return self.text
