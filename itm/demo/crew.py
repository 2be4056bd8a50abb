"""A crew on one test day: every step through the service that the pages call."""

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from random import Random
from zoneinfo import ZoneInfo

from calc.units import FLOW, PRESSURE, VOLUME
from itm.accounts.actor import Actor
from itm.actions.prepare_test import prepare_test
from itm.actions.restore import end_line
from itm.actions.start_test_day import start_test_day
from itm.core.quantities import Quantity, quantity
from itm.demo.readings import Liquid, liquid
from itm.demo.registry import World, contractor_at, fill_in_use
from itm.demo.scenario import Planned
from itm.records import bench as benches
from itm.records import discharge, effluent, pouring, preparing, services
from itm.records.drafts import on_bench
from itm.records.models import Bottle, ProportioningTest, Reading, Visit

YEARS_IN_FULL = 2  # the last tests of a device; older ones are shorter, so that loading is quick
SCATTER = 0.012  # percent; how far three samples of a steady run lie from each other
WEATHER = ["dry, light wind", "overcast", "dry, wind from the sea", "light rain", "clear, cold"]
TOLD = [
    ("Duty desk of the owner", "in person"),
    ("Fire service control room", "telephone"),
    ("Monitoring company", "telephone"),
]


@dataclass
class Crew:
    """Who works for whom, and what hour it is now."""

    world: World
    planned: Planned
    contractor: str
    actor: Actor
    day: date
    now: datetime
    rng: Random

    @property
    def in_full(self) -> bool:
        return self.planned.back <= YEARS_IN_FULL

    def tick(self, **step: float) -> datetime:
        self.now += timedelta(**(step or {"seconds": 20}))
        return self.now


def crew_for(world: World, planned: Planned) -> Crew:
    """The technician of whoever is engaged at the site on that day."""
    site = world.sites[planned.site]
    day = planned.begins_at.astimezone(ZoneInfo(site.time_zone)).date()
    contractor = contractor_at(world, site, day)
    actor = world.actor(contractor, day, role="member")
    return Crew(world, planned, contractor, actor, day, planned.begins_at, Random(planned.seed))


def plan(crew: Crew) -> Visit:
    """The visit as planned at home, with air and weather as found in the morning."""
    signatory = crew.world.actor(crew.contractor, crew.day)
    litres = crew.rng.randrange(4, 12)
    visit = services.plan_visit(
        actor=crew.actor,
        site=crew.world.sites[crew.planned.site],
        planned_on=crew.day,
        crew=f"{crew.actor.person} at the tank, {signatory.person} at the outlet",
        effluent_plan=f"About {litres} m³ of solution, caught in the bund, taken by a licensed "
        "hauler.",
    )
    degrees = crew.rng.randrange(7, 24)
    return services.change_visit(
        actor=crew.actor,
        visit=visit,
        ambient_c=Quantity(float(degrees), f"{degrees} °C"),
        weather=crew.rng.choice(WEATHER),
    )


def prepare(
    crew: Crew, visit: Visit, *, purpose: str, phase: str = "as_found", adjusted: str = ""
) -> ProportioningTest:
    proportioner = crew.world.proportioners[crew.planned.site, crew.planned.tag]
    return prepare_test(
        actor=crew.actor,
        visit=visit,
        proportioner=proportioner,
        bench=preparing.NewBench(
            instrument=crew.world.instruments[crew.planned.serial_number],
            lot=fill_in_use(proportioner.tank, crew.day),
            water_source=crew.world.water[crew.planned.site]["source"],
            glassware="25 mL syringe, 500 mL cylinder",
            batch_volume_ml=500,
        ),
        purpose=purpose,
        phase=phase,
        adjusted=adjusted,
        at=crew.tick(minutes=1),
    )


def tell_and_start(crew: Crew, visit: Visit) -> None:
    """Everybody who has to know is told; then the first valve is moved."""
    for told, how in TOLD:
        services.add_notice(
            actor=crew.actor,
            visit=visit,
            told=told,
            how=how,
            reference=f"{crew.rng.randrange(1000, 9999)}" if how == "telephone" else "",
            told_at=crew.tick(minutes=3),
        )
    owner = crew.world.actor(visit.site.owner.name, crew.day)
    start_test_day(
        actor=crew.actor,
        key=visit.key,
        reason="Proportioning test",
        coordinator=owner.person,
        at=crew.tick(minutes=5),
    )


def discharge_all(crew: Crew, test: ProportioningTest) -> None:
    """Each flow point: foam, three samples, what the gauges showed; then stop and flush."""
    forgotten = crew.planned.event("sent_back") is not None
    for run in test.runs.select_related("flow_point").order_by("flow_point__flow"):
        discharge.foam_seen(actor=crew.actor, run=run, at=crew.tick(minutes=4))
        crew.tick(seconds=25)
        for _ in range(3 if crew.in_full else 2):
            discharge.add_sample(actor=crew.actor, run=run, at=crew.tick())
        number, unit = run.flow_point.flow_typed.split(" ", 1)
        shown = round(float(number) * crew.rng.uniform(0.985, 1.02))
        discharge.note_run(
            actor=crew.actor,
            run=run,
            solution_flow=quantity(str(shown), unit, FLOW),
            flow_source="meter",
            inlet_pressure=None if forgotten else _pressure(crew),
        )
        forgotten = False
    for step in test.flush_steps.order_by("position"):
        discharge.flush_done(actor=crew.actor, step=step, at=crew.tick(minutes=1))


def _pressure(crew: Crew) -> Quantity:
    return quantity(f"{crew.rng.uniform(6.2, 8.9):.1f}", "bar", PRESSURE)


def restore(crew: Crew, visit: Visit, *, leave_open: int = 0) -> None:
    """The walk back, line by line; an event of the scenario leaves one out of service."""
    left_out = crew.planned.event("left_out") or {}
    lines = list(visit.restoration_lines.filter(outcome="").order_by("position"))
    for line in lines[: len(lines) - leave_open]:
        if line.text == left_out.get("line"):
            end_line(
                actor=crew.actor,
                line=line,
                outcome="left_out",
                at=crew.tick(minutes=2),
                reason=left_out["reason"],
                handed_to=left_out["handed_to"],
                handed_at=crew.now,
            )
        else:
            end_line(actor=crew.actor, line=line, outcome="restored", at=crew.tick(minutes=2))


def catch(crew: Crew, visit: Visit) -> None:
    """What came out, and what of it was caught and hauled off; of the newest day nothing is hauled
    yet. Only of the days that are told in full."""
    if not crew.in_full:
        return
    visit.refresh_from_db()
    sure = effluent.at_least(crew.actor, visit).volume
    litres = 100 * math.ceil(1.3 * sure * 10)
    newest = crew.planned.back == 0
    amounts = [
        ("discharged", litres, {}),
        ("collected", litres - 100 * newest, {"place": "Bund of the tank area"}),
        ("released", 100 * newest, {"place": "Gravel beside the bund, dug out"}),
        ("hauled", litres * (not newest), {
            "place": "An invented plant for liquid waste", "hauler": "An invented hauler",
            "paper": f"W-{crew.day:%y%m%d}",
        }),
    ]  # fmt: skip
    for kind, number, more in amounts:
        if number:
            effluent.note(
                actor=crew.actor, site=visit.site, visit=visit, today=crew.day, kind=kind,
                happened_on=crew.day, volume=quantity(str(number), "L", VOLUME),
                pfas=effluent.pfas_of(visit, crew.day), **more,
            )  # fmt: skip


def read_bench(
    crew: Crew, test: ProportioningTest, percents: dict[str, float], *, samples: int | None = None
) -> None:
    """Water, standards, samples, undiluted concentrate; `samples` stops in the middle."""
    test.refresh_from_db()
    _mix(crew, test)
    bench = on_bench(test)
    lot = bench.lot
    if lot is None:
        raise LookupError("A bench of the demo names its lot.")
    water = crew.world.water[crew.planned.site]
    truth = liquid(bench.instrument.method, water, lot, crew.world.conductivity[lot.pk])
    base = Decimal(crew.rng.randrange(178, 224)) / 10
    for bottle in _standing(test, Bottle.Role.WATER, Bottle.Role.STANDARD):
        for _ in range(2 if crew.in_full else 1):
            _read(crew, truth, bottle, _strength(bottle), base)
    caught = [b for b in _standing(test, Bottle.Role.SAMPLE) if b.run is not None]
    for bottle in caught[:samples]:
        run = bottle.run
        if run is not None:
            real = percents[run.flow_point.name] + crew.rng.gauss(0, SCATTER)
            _read_sample(crew, truth, bottle, real, base)
    if samples is None:
        for bottle in _standing(test, Bottle.Role.WATER_AGAIN if crew.in_full else ""):
            _read(crew, truth, bottle, 0.0, base)
        # Standards are made from a drum of the lot; what is drawn from the tank may hold water.
        diluted = crew.planned.event("tank_diluted") or {"share_left": 1}
        for bottle in _standing(test, Bottle.Role.CONCENTRATE):
            _read(crew, truth, bottle, 100.0 * diluted["share_left"], base)


def _mix(crew: Crew, test: ProportioningTest) -> None:
    """Standards by the recipe, give or take a tenth of a millilitre."""
    benches.set_out(actor=crew.actor, test=test)
    bench = on_bench(test)
    for percent in crew.planned.device.get("more_standards", []):
        benches.add_standard(actor=crew.actor, bench=bench, target_percent=Decimal(percent))
    batch = bench.batch_volume_ml
    for bottle in _standing(test, Bottle.Role.STANDARD):
        target = bottle.target_percent or Decimal(0)
        slip = Decimal(crew.rng.choice([-1, 0, 0, 1])) / 10
        concentrate = (batch * target / 100 + slip).quantize(Decimal("0.1"))
        pouring.set_volumes(
            actor=crew.actor,
            bottle=bottle,
            concentrate_ml_typed=f"{concentrate:f}",
            water_ml_typed=f"{batch - concentrate:.1f}",
        )


def _standing(test: ProportioningTest, *roles: str) -> list[Bottle]:
    """Bottles of these roles in the order of the bench; samples only those of this test."""
    rows = on_bench(test).bottles.filter(role__in=roles).select_related("run__flow_point", "bench")
    order = {role: i for i, role in enumerate(roles)}
    return sorted(rows, key=lambda b: (order[b.role], b.position, b.pk))


def _strength(bottle: Bottle) -> float:
    """What is really in the bottle: what was poured, not what the recipe said."""
    if bottle.role == Bottle.Role.WATER:
        return 0.0
    poured, water = bottle.concentrate_ml or Decimal(0), bottle.water_ml or Decimal(0)
    return float(100 * poured / (poured + water))


def _read_sample(crew: Crew, truth: Liquid, bottle: Bottle, real: float, base: Decimal) -> None:
    """Once; the scenario may have a bubble on the prism, then set aside and read again."""
    slip = crew.planned.event("set_aside")
    if slip is not None and bottle.position == 1:
        low = _read(crew, truth, bottle, real * 0.55, base)
        benches.set_aside(actor=crew.actor, reading=low, reason=slip["reason"], at=crew.now)
    _read(crew, truth, bottle, real, base)


def _read(crew: Crew, truth: Liquid, bottle: Bottle, percent: float, base: Decimal) -> Reading:
    temperature = base + Decimal(crew.rng.randrange(-1, 2)) / 10
    instrument = crew.world.instruments[crew.planned.serial_number]
    return benches.add_reading(
        actor=crew.actor,
        bottle=bottle,
        value_typed=truth.shown(percent, temperature, instrument, crew.rng),
        temperature_typed=f"{temperature:.1f}",
        at=crew.tick(seconds=70),
    )
