"""A whole test day through the real services, the way a crew would do it.

The readings are made from an invented concentrate: a straight line from water at 1.33300 with
0.0002 for each percent, rounded to the display of the instrument.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any
from uuid import uuid4

from calc.units import FLOW, PRESSURE
from itm.accounts.actor import Actor
from itm.actions import restore
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.record_inspection import record_inspection
from itm.actions.sign import sign
from itm.actions.start_test_day import start_test_day
from itm.core.quantities import quantity
from itm.records import bench as benches
from itm.records import discharge, pouring, preparing, services
from itm.records.duties import derive_site
from itm.records.inspecting import Entry
from itm.records.models import Bottle, Inspection, ProportioningTest
from itm.schedule.models import Duty, Programme, Requirement

WATER = Decimal("1.33300")
SLOPE = Decimal("0.0002")


@dataclass
class Day:
    """One prepared test and the hour of its day; each step moves the clock on."""

    actor: Actor
    test: ProportioningTest
    now: datetime
    standards: dict[str, tuple[str, str]] = field(default_factory=dict)

    def tick(self, **step: float) -> datetime:
        self.now += timedelta(**(step or {"seconds": 20}))
        return self.now


def display(percent: Decimal | float, resolution: Decimal) -> str:
    """What a refractometer with this step would show for a mixture of this strength."""
    index = WATER + SLOPE * Decimal(str(percent))
    return str(index.quantize(resolution.normalize(), rounding=ROUND_HALF_EVEN))


def prepared(scene: Any, *, on: date = date(2026, 6, 15), **options: Any) -> Day:
    """A visit with one test, the test day started."""
    actor = options.pop("actor", scene.contractor)
    now = datetime.combine(on, time(8, 0), UTC)
    visit = services.plan_visit(actor=actor, site=scene.site, planned_on=on, crew="A crew of two")
    bench = preparing.open_bench(
        actor=actor, visit=visit, tank=scene.tank, instrument=scene.instrument,
        water_source="hydrant at the rack", glassware="10 mL pipette, 200 mL flask",
        lot=options.pop("lot", None),
    )  # fmt: skip
    test = preparing.prepare_test(
        actor=actor, visit=visit, proportioner=scene.proportioner, bench=bench, at=now,
        **{"purpose": "periodic", **options},
    )  # fmt: skip
    services.add_notice(actor=actor, visit=visit, told="Monitoring company", told_at=now)
    start_test_day(
        actor=actor, key=visit.key, reason="annual proportioning test",
        coordinator="the owner's duty engineer", at=now + timedelta(minutes=5),
    )  # fmt: skip
    test.refresh_from_db()
    return Day(actor, test, now + timedelta(minutes=10))


def discharged(day: Day, samples: int = 3) -> Day:
    """Every flow point run, the samples caught, stopped and flushed, everything put back."""
    for run in day.test.runs.select_related("flow_point"):
        discharge.note_run(
            actor=day.actor, run=run, flow_source="meter",
            solution_flow=quantity(run.flow_point.flow_typed.split()[0], "L/min", FLOW),
            inlet_pressure=quantity("7.5", "bar", PRESSURE),
        )  # fmt: skip
        discharge.foam_seen(actor=day.actor, run=run, at=day.tick(minutes=2))
        day.tick(seconds=40)
        for _ in range(samples):
            discharge.add_sample(actor=day.actor, run=run, at=day.tick())
    for step in day.test.flush_steps.order_by("position"):
        discharge.flush_done(actor=day.actor, step=step, at=day.tick())
    return day


def restored(day: Day) -> Day:
    for line in day.test.visit.restoration_lines.filter(outcome=""):
        restore.end_line(actor=day.actor, line=line, outcome="restored", at=day.tick())
    return day


def read(day: Day, percent: dict[str, float], *, temperature: str = "20.0") -> Day:
    """The bench: standards as their recipe says, every bottle read once, the water not again."""
    test, resolution = day.test, day.test.bench.instrument.resolution
    benches.set_out(actor=day.actor, test=test)
    shared = test.bench.bottles.filter(run=None).exclude(role=Bottle.Role.WATER_AGAIN)
    for bottle in shared.order_by("position", "pk"):
        strength = {Bottle.Role.WATER: Decimal(0), Bottle.Role.CONCENTRATE: Decimal(100)}.get(
            bottle.role, bottle.target_percent
        )
        if bottle.role == Bottle.Role.STANDARD and not bottle.concentrate_g_typed:
            concentrate = test.bench.batch_volume_ml * strength / 100
            pouring.set_volumes(
                actor=day.actor, bottle=bottle, concentrate_ml_typed=f"{concentrate:.1f}",
                water_ml_typed=f"{test.bench.batch_volume_ml - concentrate:.1f}",
            )  # fmt: skip
        _reading(day, bottle, display(strength, resolution), temperature)
    for run in test.runs.select_related("flow_point"):
        for bottle in run.bottles.order_by("position"):
            _reading(day, bottle, display(percent[run.flow_point.name], resolution), temperature)
    return day


def _reading(day: Day, bottle: Bottle, value: str, temperature: str) -> None:
    benches.add_reading(
        actor=day.actor, bottle=bottle, value_typed=value, temperature_typed=temperature,
        at=day.tick(),
    )  # fmt: skip


def tested(
    scene: Any,
    percent: dict[str, float] | None = None,
    *,
    on: date = date(2026, 6, 15),
    until: str = "sealed",
    **options: Any,
) -> ProportioningTest:
    """A test of the scene's proportioner up to `until`: draft, handed_in or sealed."""
    day = prepared(scene, on=on, **options)
    read(restored(discharged(day)), percent or {"minimum": 3.2, "design": 3.4})
    if until != "draft":
        hand_in(actor=day.actor, key=day.test.key, at=day.tick(minutes=5))
    if until == "sealed":
        signed(day)
    return ProportioningTest.objects.get(pk=day.test.pk)


tested.__test__ = False  # type: ignore[attr-defined]  # a deed, whatever its name begins with


def signed(day: Day) -> ProportioningTest:
    return sign(
        actor=day.actor, key=day.test.key, at=day.tick(minutes=5), name=day.actor.person,
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip


LOOKED = {"places": "top and bottom", "paper": "R-1", "fit": "yes"}


def amended(test: ProportioningTest, scene: Any) -> ProportioningTest:
    """A sealed correction of a sealed record."""
    actor, at = scene.contractor, test.sealed_at
    new = amend(actor=actor, key=test.key, reason="the flow was misread", at=at)
    hand_in(actor=actor, key=new.key, at=at)
    return sign(actor=actor, key=new.key, at=at, name="Rosa Brito", qualification="supervisor")


def look_duty(scene: Any) -> Duty:
    """A yearly look at the scene's tank, invented, laid among the rows that hold everywhere."""
    text = {"kind": "text"}
    row, _ = Requirement.objects.get_or_create(
        programme=Programme.objects.get(everywhere=True), code="yearly-look",
        defaults={
            "task": "inspection", "words": "Look at the tank from outside",
            "applies_to": ["tank:any"], "interval": 12, "earliest": 9, "latest": 15,
            "source": "invented for tests", "confidence": "looked up",
            "evidence": [
                {"key": "places", "label": "Places looked at", **text},
                {"key": "paper", "label": "Paper", **text},
                {"key": "fit", "label": "Free of leaks", "kind": "yes_no"},
            ],
        },
    )  # fmt: skip
    derive_site(actor=scene.owner, site=scene.site)
    duty: Duty = Duty.objects.get(tank=scene.tank, done_on=None, requirement=row)
    return duty


def inspection_of(scene: Any, on: date = date(2026, 6, 15), **answers: str) -> Inspection:
    """A look at the scene's tank by the contractor, found in order unless the answers say else."""
    return record_inspection(
        actor=scene.contractor, site=scene.site, done_on=on, once=uuid4(),
        at=datetime.combine(on, time(12), UTC),
        entries=[Entry(look_duty(scene), {**LOOKED, **answers})],
    )  # fmt: skip
