"""A draft test with its bench, laid straight into the tables: what the bench's own tests start at.

The readings are our own invention: a liquid whose index rises by 0.0003 per percent.
"""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from itm.records import bench as services
from itm.records import pouring
from itm.records.models import Bench, Bottle, FlowRun, ProportioningTest, Reading, Visit
from itm.registry.models import Instrument
from tests.conftest import Scene
from tests.factories import TODAY

AT = datetime(2026, 6, 15, 10, 30, tzinfo=UTC)
READ = {
    "water": "1.33300",
    "S1": "1.33360",
    "S2": "1.33390",
    "S3": "1.33420",
    "concentrate": "1.36300",
    "M1": "1.33396",
    "M2": "1.33397",
    "D1": "1.33404",
    "D2": "1.33405",
}


def draft(scene: Scene, *, instrument: Instrument | None = None, visit: Visit | None = None,
          bench: Bench | None = None, phase: str = "as_found") -> ProportioningTest:  # fmt: skip
    """Two flow points, two sample bottles each; no standard, no reading."""
    by = scene.contractor
    visit = visit or Visit.objects.create(
        by=by, site=scene.site, contractor=by.organisation, planned_on=TODAY,
        started_at=AT - timedelta(hours=2), started_by=by.person,
    )  # fmt: skip
    bench = bench or Bench.objects.create(
        by=by, visit=visit, tank=scene.tank, instrument=instrument or scene.instrument,
        batch_volume_ml=Decimal(200),
    )  # fmt: skip
    test = ProportioningTest.objects.create(
        by=by, site=scene.site, visit=visit, proportioner=scene.proportioner, bench=bench,
        purpose="periodic", phase=phase, tested_on=TODAY, nominal_percent=Decimal(3),
        criterion="common", band_lower=Decimal(3), band_upper=Decimal("3.9"),
        verdict_probability=0.75,
    )  # fmt: skip
    for point in scene.proportioner.flow_points.all():
        run = FlowRun.objects.create(by=by, test=test, flow_point=point)
        for number in (1, 2):
            Bottle.objects.create(
                by=by, bench=bench, run=run, role="sample", position=number,
                label=f"{'' if phase == 'as_found' else 'L'}{point.name[0].upper()}{number}",
                taken_at=AT - timedelta(hours=1),
            )  # fmt: skip
    return test


def read(scene: Scene, bottle: Bottle, value: str, temperature: str = "20.0") -> Reading:
    return services.add_reading(
        actor=scene.contractor, bottle=bottle, value_typed=value, temperature_typed=temperature,
        at=AT,
    )  # fmt: skip


def worked(scene: Scene, **values: str) -> ProportioningTest:
    """A draft with standards of 2, 3 and 4 % made of 200 mL, everything read once."""
    test = draft(scene)
    services.set_out(actor=scene.contractor, test=test)
    for label, concentrate, water in (("S1", "4", "196"), ("S2", "6", "194"), ("S3", "8", "192")):
        pouring.set_volumes(
            actor=scene.contractor, bottle=test.bench.bottles.get(label=label),
            concentrate_ml_typed=concentrate, water_ml_typed=water,
        )  # fmt: skip
    for label, value in {**READ, **values}.items():
        read(scene, test.bench.bottles.get(label=label), value)
    return test
