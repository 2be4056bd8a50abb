"""One record with everything that belongs to it, in a fixed number of queries."""

from django.db.models import F, Prefetch

from itm.records.models import (
    Bottle,
    ConcentrateCheck,
    ConcentrateSample,
    FlowRun,
    ProportioningTest,
    Reading,
    RestorationLine,
)
from itm.registry.models import TankMovement

# In the order of the day, whatever came in first: two phones and a late sync give the same record.
CAUGHT_ORDER = (F("taken_at").asc(nulls_first=True), "position", "pk")
BENCH_ORDER = ("read_at", "sequence", "pk")


def whole(pk: int) -> ProportioningTest:
    """For code that already holds the test by right: the scope was checked where it was read."""
    readings = Prefetch("readings", Reading.objects.order_by(*BENCH_ORDER))
    bottles = Bottle.objects.in_use().order_by(*CAUGHT_ORDER).prefetch_related(readings)
    movements = TankMovement.objects.in_force().select_related("lot")
    return (
        ProportioningTest.objects.select_related(
            "site__owner",
            "visit__contractor",
            "proportioner__system",
            "bench__tank",
            "bench__instrument",
            "bench__lot",
            "tank",
            "direct__concentrate_meter",
            "direct__second_meter",
            "handed_in_by",
            "amends__seal",
        )
        .prefetch_related(
            Prefetch(
                "runs",
                FlowRun.objects.select_related("flow_point", "direct").order_by("flow_point__flow"),
            ),
            Prefetch("runs__bottles", bottles),
            Prefetch("bench__bottles", bottles.filter(run=None)),
            "flush_steps",
            "moves",
            "visit__notices",
            "visit__device_clocks",
            Prefetch(
                "visit__restoration_lines", RestorationLine.objects.order_by("position", "pk")
            ),
            "site__site_authorities__organisation",
            "bench__instrument__certificates",
            Prefetch("bench__tank__movements", movements),
            Prefetch("tank__movements", movements),
            "direct__concentrate_meter__certificates",
            "direct__second_meter__certificates",
        )
        .get(pk=pk)
    )


def whole_check(pk: int) -> ConcentrateCheck:
    """The same of a concentrate check. Withdrawn bottles stand in it too."""
    samples = ConcentrateSample.objects.select_related("report").prefetch_related("values")
    movements = TankMovement.objects.in_force().select_related("lot")
    return (
        ConcentrateCheck.objects.select_related(
            "site__owner", "tank", "organisation", "handed_in_by", "amends__seal"
        )
        .prefetch_related(
            Prefetch("samples", samples.order_by("taken_at", "pk")),
            "laboratory_reports",
            "moves",
            "site__site_authorities__organisation",
            "tank__proportioners__system",
            Prefetch("tank__movements", movements),
        )
        .get(pk=pk)
    )
